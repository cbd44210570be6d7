"""The page of placing: where to plant what."""
