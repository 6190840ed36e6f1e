"""Keys of harps: the note of hole 1 blow.

The standard keys run from G3 to F#4 on hole 1 blow (common practice). ``low`` harps lie one octave
below the standard harp of that key, ``double-low`` two octaves, ``high`` ones an octave above. In
every tuning a harp is named after its hole 1 blow; see :mod:`trainer.harp.tuning`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from trainer.harp.errors import HarpError
from trainer.music import parse_pitch_class

STANDARD_KEYS = ("G", "Ab", "A", "Bb", "B", "C", "Db", "D", "Eb", "E", "F", "F#")
"""Standard keys, from the lowest harp to the highest."""
LOW_AND_HIGH_KEYS = ("low C", "low D", "low Eb", "low E", "low F", "low F#", "high G")
"""Keys of harps an octave lower or higher that are commonly sold (common practice)."""

_LOWEST_MIDI = 55  # G3
_RANGES = {
    "": ("", 0),
    "low": ("low ", -12),
    "l": ("low ", -12),
    "doublelow": ("double-low ", -24),
    "ll": ("double-low ", -24),
    "high": ("high ", 12),
    "h": ("high ", 12),
}
_KEY = re.compile(r"(?:(double[- ]?low|low|high|ll|l|h)[- ]?)?([A-G][#b♯♭]?)\Z", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class HarpKey:
    """The key of a harp.

    Attributes:
        name: name as printed, such as ``Bb`` or ``low F``.
        tonic: MIDI note number of hole 1 blow.
    """

    name: str
    tonic: int

    def __str__(self) -> str:
        return self.name

    @property
    def note(self) -> str:
        """Name of the key note, without the range: ``F`` for ``low F``."""
        return self.name.split()[-1]

    def half_steps_to(self, other: HarpKey) -> int:
        """Return the half steps from this key to another by the shortest way, -5 to 6."""
        return (other.tonic - self.tonic + 5) % 12 - 5


def standard_key(pitch_class: int) -> str:
    """Usual spelling of the harp key of a pitch class, such as ``Ab`` for 8."""
    return STANDARD_KEYS[(pitch_class - _LOWEST_MIDI) % 12]


def parse_key(text: str) -> HarpKey:
    """Parse a key such as ``C``, ``Bb``, ``low F`` (or ``LF``), ``high G`` or ``double-low F``.

    Case is ignored: a first ``b`` is the note, a second one its flat, so that ``b`` is B and ``bb``
    B flat. Keys get their usual spelling (``C#`` becomes ``Db``), except that F# and Gb are kept
    as written, because both are printed on harps.

    Raises:
        HarpError: there is no such key.
    """
    match = _KEY.match(" ".join(text.split()))
    if not match:
        raise HarpError(
            f"no harp has the key '{text}'; the keys are {' '.join(STANDARD_KEYS)}, each also "
            "low, double-low or high, as in 'low F'"
        )
    prefix, shift = _RANGES[re.sub("[- ]", "", match[1] or "").lower()]
    pitch_class = parse_pitch_class(match[2])
    note = "Gb" if match[2].lower() in ("gb", "g♭") else standard_key(pitch_class)
    return HarpKey(prefix + note, _LOWEST_MIDI + (pitch_class - _LOWEST_MIDI) % 12 + shift)
