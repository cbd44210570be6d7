"""What is there: domain model, yard file, units, plan geometry."""
