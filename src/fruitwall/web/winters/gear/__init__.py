"""The page of what more gear is worth a winter."""
