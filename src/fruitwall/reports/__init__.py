"""What is printed and shared: the report of a season, as a page in one file and as PDF."""
