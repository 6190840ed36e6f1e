"""The Textual app.

Textual reads TEXTUAL_FPS, its maximum paint rate per second, once, when it is imported. The app has
a frame timer of its own; with Textual's usual 60, the two timers would wait for each other. At 1000
a change is painted at once, at the same cost.
"""

import os

os.environ.setdefault("TEXTUAL_FPS", "1000")
