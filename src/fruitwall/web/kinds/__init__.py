"""The pages of kinds: what is published on a kind, and what was made of it."""
