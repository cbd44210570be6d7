"""The interface for scripts and sensors, described by OpenAPI."""
