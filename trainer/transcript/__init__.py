"""From what was heard to what is written: tab, bars, beats, and the harp it was played on."""

from trainer.transcript.drill_draft import draft
from trainer.transcript.model import HarpGuess, Meter, Transcript, Written, path_text
from trainer.transcript.transcribe import DOUBTFUL, Asked, TranscriptError, transcribe

__all__ = [
    "DOUBTFUL",
    "Asked",
    "HarpGuess",
    "Meter",
    "Transcript",
    "TranscriptError",
    "Written",
    "draft",
    "path_text",
    "transcribe",
]
