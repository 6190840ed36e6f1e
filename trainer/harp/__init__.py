"""Harmonicas: keys, tunings, tab, the entries of each hole, and measured reeds."""

from trainer.harp.a4_guess import A4Guess, a4_guess_notes, guess_a4
from trainer.harp.errors import HarpError
from trainer.harp.harp import A4_RANGE_HZ, Harp, parse_offsets
from trainer.harp.key import (
    LOW_AND_HIGH_KEYS,
    STANDARD_KEYS,
    HarpKey,
    parse_key,
    standard_key,
)
from trainer.harp.measured_tuning import (
    OctavePair,
    ReedFrequencies,
    ReedTuning,
    natural_entries,
    nearest_temperament,
    octave_pairs,
    overall_a4_hz,
    reed_tunings,
    with_reed_targets,
)
from trainer.harp.tab import HOLES, Breath, Tab
from trainer.harp.tuning import Tuning, load_tuning, tuning_names

__all__ = [
    "A4_RANGE_HZ",
    "HOLES",
    "LOW_AND_HIGH_KEYS",
    "STANDARD_KEYS",
    "A4Guess",
    "Breath",
    "Harp",
    "HarpError",
    "HarpKey",
    "OctavePair",
    "ReedFrequencies",
    "ReedTuning",
    "Tab",
    "Tuning",
    "a4_guess_notes",
    "guess_a4",
    "load_tuning",
    "natural_entries",
    "nearest_temperament",
    "octave_pairs",
    "overall_a4_hz",
    "parse_key",
    "parse_offsets",
    "reed_tunings",
    "standard_key",
    "tuning_names",
    "with_reed_targets",
]
