"""Where to plant what: chances of every place of the yard over many winters, and who stands where."""
