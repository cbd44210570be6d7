"""The plan of the yard, to look at and to change."""
