"""Excerpts of recorded free reeds; README.md has their source and licence."""
