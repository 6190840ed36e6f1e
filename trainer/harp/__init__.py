"""Keys, tunings, reeds, what each hole can play, and tab."""

from trainer.harp.errors import HarpError
from trainer.harp.harp import Harp, parse_offsets
from trainer.harp.key import STANDARD_KEYS, HarpKey, parse_key, standard_key
from trainer.harp.tab import HOLES, Breath, Tab
from trainer.harp.tuning import Tuning, load_tuning, tuning_names

__all__ = [
    "HOLES",
    "STANDARD_KEYS",
    "Breath",
    "Harp",
    "HarpError",
    "HarpKey",
    "Tab",
    "Tuning",
    "load_tuning",
    "parse_key",
    "parse_offsets",
    "standard_key",
    "tuning_names",
]
