"""House rules side by side on the same winters, and the household's own."""
