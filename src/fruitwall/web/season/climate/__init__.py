"""The page of the climate of the place."""
