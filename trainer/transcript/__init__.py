"""From heard notes to notation: tab, bars, beats, and the harp."""

from trainer.transcript.drill_draft import draft_drill
from trainer.transcript.model import HarpGuess, Meter, TranscribedNote, Transcript, path_text
from trainer.transcript.request import TranscriptError, TranscriptRequest
from trainer.transcript.transcription import DOUBTFUL_CONFIDENCE, transcribe

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
