"""What each tree stands and needs."""
