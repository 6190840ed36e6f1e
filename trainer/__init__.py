"""An intonation trainer for the ten-hole diatonic harmonica.

Sound goes in at one end and a mark comes out at the other; docs/dev/architecture.md draws the path
and the rooms along it.
"""

__version__ = "0.1.0"
