"""What each spot and tissue feels: pure arrays in, arrays out."""
