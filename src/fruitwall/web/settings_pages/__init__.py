"""The page of settings: how somebody reads, people and devices, backup, where the data come from."""
