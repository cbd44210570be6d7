"""The winters: what they were, what house rules would have come to."""
