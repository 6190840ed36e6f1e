"""Keys of harps: which note hole 1 blow of a standard-tuned harp sounds.

The standard keys run from G3 to F#4 on hole 1 blow (common practice); ``low`` harps lie an
octave below the standard harp of that key, ``double-low`` two, ``high`` ones an octave above.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from trainer.harp.errors import HarpError
from trainer.music import MusicError, note_name, parse_note

STANDARD_KEYS = ("G", "Ab", "A", "Bb", "B", "C", "Db", "D", "Eb", "E", "F", "F#")
"""From the lowest standard harp to the highest."""

_RANGES = {"double-low": -24, "low": -12, "": 0, "high": 12}
_KEY = re.compile(r"(?:(double[- ]?low|low|high|ll|l|h)[- ]?)??([A-G])([#b♯♭]?)\Z", re.IGNORECASE)
_SHORT = {"ll": "double-low", "l": "low", "h": "high", "doublelow": "double-low"}


@dataclass(frozen=True, slots=True)
class HarpKey:
    """The key of a harp.

    Attributes:
        name: as printed, such as ``Bb`` or ``low F``.
        tonic: MIDI note number of hole 1 blow on a standard tuning of this key.
    """

    name: str
    tonic: int

    def __str__(self) -> str:
        return self.name


def parse_key(text: str) -> HarpKey:
    """The key written as ``C``, ``Bb``, ``low F`` (or ``LF``), ``high G``, ``double-low F``.

    Raises:
        HarpError: there is no such key.
    """
    found = _KEY.match(text.strip())
    if not found:
        keys = " ".join(STANDARD_KEYS)
        raise HarpError(
            f"no harp has the key '{text}'; the keys are {keys}, each also low, "
            "double-low or high, as in 'low F'"
        )
    prefix = (found[1] or "").lower().replace(" ", "-")
    prefix = _SHORT.get(prefix, _SHORT.get(prefix.replace("-", ""), prefix))
    letter = found[2].upper() + found[3].replace("♯", "#").replace("♭", "b")
    try:
        pitch_class = parse_note(f"{letter}4") % 12
    except MusicError as error:  # pragma: no cover - the pattern admits notes only
        raise HarpError(str(error)) from error
    tonic = 55 + (pitch_class - 55) % 12 + _RANGES[prefix]
    name = next(key for key in STANDARD_KEYS if parse_note(f"{key}4") % 12 == pitch_class)
    if len(letter) > 1 and note_name(pitch_class) != f"{name}-1":
        name = letter  # F# and Gb are both written by players; the rest keep the trade's spelling
    return HarpKey(f"{prefix} {name}".strip(), tonic)
