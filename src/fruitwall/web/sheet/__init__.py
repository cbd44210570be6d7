"""The sheet for a helper, as a page and as a file."""
