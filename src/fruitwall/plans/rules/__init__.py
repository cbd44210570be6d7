"""What if: house rules replayed over many winters, their cost and their losses, and the search for better ones."""
