"""From heard notes to notation: tab, bars, beats, and the harp."""

from trainer.transcript.drill_draft import draft_drill
from trainer.transcript.model import (
    DOUBTFUL_CONFIDENCE,
    HarpGuess,
    Meter,
    TranscribedNote,
    Transcript,
    path_text,
)
from trainer.transcript.pick_list import guess_drill_harps, plausible_guesses
from trainer.transcript.request import TranscriptError, TranscriptRequest
from trainer.transcript.transcription import transcribe

__all__ = [
    "DOUBTFUL_CONFIDENCE",
    "HarpGuess",
    "Meter",
    "TranscribedNote",
    "Transcript",
    "TranscriptError",
    "TranscriptRequest",
    "draft_drill",
    "guess_drill_harps",
    "path_text",
    "plausible_guesses",
    "transcribe",
]
