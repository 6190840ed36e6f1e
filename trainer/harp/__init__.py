"""Keys, tunings, reeds, what each hole can play, and tab."""

from trainer.harp.errors import HarpError
from trainer.harp.harp import Harp
from trainer.harp.key import STANDARD_KEYS, HarpKey, parse_key
from trainer.harp.tab import Breath, Tab
from trainer.harp.tuning import Tuning, load_tuning, tuning_names

__all__ = [
    "STANDARD_KEYS",
    "Breath",
    "Harp",
    "HarpError",
    "HarpKey",
    "Tab",
    "Tuning",
    "load_tuning",
    "parse_key",
    "tuning_names",
]
