"""What the yard has taught: forecast error, spot offsets, tolerance of each tree. Pure arithmetic, no storage."""
