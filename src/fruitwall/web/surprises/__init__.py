"""The page of what was unexpected in the yard, what to change, and why that is believed."""
