"""The Textual app: screens, widgets, themes, and the take they show.

Textual reads TEXTUAL_FPS, its maximum paint rate per second, once, when it is imported. The app has
a frame timer of its own; with Textual's usual 60, the two timers would wait for each other. At 1000
a change is painted at once, at the same cost.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from trainer.core.lazy import lazy_getattr

os.environ.setdefault("TEXTUAL_FPS", "1000")

if TYPE_CHECKING:
    from trainer.app.app import TrainerApp
    from trainer.app.theme import effective_theme
    from trainer.app.transcript_file import TranscriptFile
else:
    __getattr__ = lazy_getattr(
        __name__,
        {
            "app": ["TrainerApp"],
            "theme": ["effective_theme"],
            "transcript_file": ["TranscriptFile"],
        },
    )

__all__ = ["TrainerApp", "TranscriptFile", "effective_theme"]
