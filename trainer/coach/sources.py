"""Which takes count as the player's own."""

PLAYER_SOURCES = ("microphone", "recording")
"""Sources in which the player is heard, as a take record names them. The built-in player's takes
are no evidence about a player."""
