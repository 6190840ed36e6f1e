"""The Textual app.

Textual paints at most so often as this variable says, and reads it once, when it is imported.
Its own timer and the app's would wait for each other at the usual 60, so it is set higher: the
newest reading then reaches the screen half a frame sooner, at the same cost.
"""

import os

os.environ.setdefault("TEXTUAL_FPS", "240")
