"""From what was heard to what is written: tab, bars, beats, and the harp it was played on."""

from trainer.transcript.drill_draft import draft_drill
from trainer.transcript.model import HarpGuess, Meter, TranscribedNote, Transcript, path_text
from trainer.transcript.transcribe import (
    DOUBTFUL_CONFIDENCE,
    TranscriptError,
    TranscriptRequest,
    transcribe,
)

__all__ = [
    "DOUBTFUL_CONFIDENCE",
    "HarpGuess",
    "Meter",
    "TranscribedNote",
    "Transcript",
    "TranscriptError",
    "TranscriptRequest",
    "draft_drill",
    "path_text",
    "transcribe",
]
