"""How the built-in player performs a drill: timing, pitch, voice, and faults."""
