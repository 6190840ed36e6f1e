"""The Textual app.

Textual paints at most so often as this variable says, and reads it once, when it is imported.
Its own timer and the app's would wait for each other at the usual 60. The app keeps its own pace,
so that Textual's is set to a millisecond: what is shown is painted at once, at the same cost.
"""

import os

os.environ.setdefault("TEXTUAL_FPS", "1000")
