"""Pages of heat: the yard in one table, and each tree with its picture."""
