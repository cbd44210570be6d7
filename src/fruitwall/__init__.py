"""Tonight's plan for a yard of frost-tender fruit trees, from physics and from what the yard has taught."""

__version__ = "0.1.0.dev0"
