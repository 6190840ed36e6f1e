"""Statistics that more than one room needs; tests hold them against scipy."""
