"""The report of the season: a page to look at, print and download."""
