"""Who may come in: accounts, log-in, pairing, and what stands before every page."""
