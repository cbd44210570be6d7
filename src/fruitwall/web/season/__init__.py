"""Pages of the season: what the other eleven months ask for, part by part."""
