"""Weather of many years from public files: read, made hourly, blended between stations, warmed."""
