"""The walk: one tree a screen, also out of reach of the wireless."""
