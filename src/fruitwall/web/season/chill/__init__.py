"""The page of winter chill: what each tree had, what it needs, and when it likely has it."""
