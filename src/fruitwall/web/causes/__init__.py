"""What a sighting may come of: the probabilities with their reasons, two questions, what to do."""
