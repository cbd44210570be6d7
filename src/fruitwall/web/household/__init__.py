"""The page of gear and people: what the household has at hand, and who helps."""
