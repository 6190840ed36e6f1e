"""Own harps: how each is tuned, and how its reeds change over time."""
