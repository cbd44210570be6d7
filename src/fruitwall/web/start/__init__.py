"""The first evening: from nothing to a yard with a plan."""
