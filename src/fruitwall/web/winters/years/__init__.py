"""The page of what many winters say: coldest nights, return levels, danger of each tree, freezes, zone."""
