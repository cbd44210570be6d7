"""What comes: forcing arrays, forecast and archive sources, parsing."""
