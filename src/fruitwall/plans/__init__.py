"""What to do: measures, evening optimiser, lifting, power, covers."""
