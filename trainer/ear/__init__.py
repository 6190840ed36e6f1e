"""From samples to readings (pitch, level, sounding holes) and notes. Knows no drill."""

from trainer.ear.ear import Ear, EarParameters, analyze_blocks
from trainer.ear.frontend import Frontend
from trainer.ear.heard_note import HeardNote
from trainer.ear.level_gate import MINIMUM_LEVEL_DB
from trainer.ear.motion import (
    HeldPart,
    Modulation,
    Motion,
    estimate_motion,
    held_parts,
    initial_pitch,
    resample_evenly,
)
from trainer.ear.note_tracker import (
    LEVEL_WINDOW_S,
    NoteParameters,
    NoteTracker,
    end_of_sound,
    soft_attacks,
    track_notes,
)
from trainer.ear.partial_fit import FrameSpectrum
from trainer.ear.reading import Reading
from trainer.ear.reed_mixture import ReedMixture, power_db

__all__ = [
    "LEVEL_WINDOW_S",
    "MINIMUM_LEVEL_DB",
    "Ear",
    "EarParameters",
    "FrameSpectrum",
    "Frontend",
    "HeardNote",
    "HeldPart",
    "Modulation",
    "Motion",
    "NoteParameters",
    "NoteTracker",
    "Reading",
    "ReedMixture",
    "analyze_blocks",
    "end_of_sound",
    "estimate_motion",
    "held_parts",
    "initial_pitch",
    "power_db",
    "resample_evenly",
    "soft_attacks",
    "track_notes",
]
