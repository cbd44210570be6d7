"""The model against measured series, nothing fitted unless the row says so: ``python -m bench.validate_physics``."""
