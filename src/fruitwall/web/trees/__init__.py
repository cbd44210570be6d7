"""The pages of the trees: what each went through, and what it is believed to stand."""
