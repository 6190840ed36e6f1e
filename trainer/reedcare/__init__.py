"""The player's own harps: how each is tuned, and how its reeds wear."""
