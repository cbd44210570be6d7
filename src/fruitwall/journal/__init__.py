"""What happened: storage of the yard and its history."""
