"""The screens that the player can go to from the practice screen and from the daily set."""

from __future__ import annotations

PLACES = (
    ("s", "shelf", "shelf", "shelf: find and open a drill"),
    ("o", "course", "course", "course: stages, and where you stand"),
    ("i", "listen", "listen", "listen without a drill"),
    ("g", "progress", "progress", "progress: what improves, what does not"),
    ("h", "harps", "harps", "harps: choose one; charts and reeds"),
    ("comma", "settings", "settings", "settings: see and change them"),
    ("m", "guide", "mic", "microphone: choose and test one"),
)
"""Key, name of the action, word of the footer, and description."""
