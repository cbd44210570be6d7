"""Pages of the cold ledger: the yard in one table, and each tree with its picture."""
