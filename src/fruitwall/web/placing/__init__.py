"""Where to plant what."""
