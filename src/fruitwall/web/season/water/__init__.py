"""The pages of the water of the season."""
