"""The page of the search for house rules, and of what carrying less costs."""
