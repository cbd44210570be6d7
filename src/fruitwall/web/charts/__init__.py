"""Pictures of something over time, from one small description each."""
