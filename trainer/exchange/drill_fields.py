"""What an exported file says of its drill beyond notes, so that it reads back as the same drill.

In MIDI it is text at the beginning of the first track (Standard MIDI Files 1.0, text event), in
MusicXML it is miscellaneous fields (MusicXML 4.0, `miscellaneous-field`). A field has a name and a
text: ``harp``, ``C``. Files of other programs have none of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from trainer.drill import Drill, drill_position
from trainer.harp import Harp, HarpError
from trainer.music import POSITIONS

MAX_SWING = 3.0
"""Maximum swing of a drill."""


@dataclass(frozen=True, slots=True)
class DrillFields:
    """The fields of a drill.

    Attributes:
        harp: the harp that plays it.
        position: 1 to 12; None if it is not known.
        swing, tempo_to: as in :class:`trainer.drill.Drill`.
        pickup: length of the pick-up in beats.
    """

    harp: Harp
    position: int | None = None
    swing: float = 1.0
    tempo_to: float | None = None
    pickup: Fraction = Fraction(0)

    @classmethod
    def of(cls, drill: Drill, harp: Harp) -> DrillFields:
        """Return the fields of a drill on a harp.

        Raises:
            HarpError: the harp cannot play the drill.
        """
        position = drill_position(drill, harp)
        return cls(harp, position, drill.swing, drill.tempo_to, -min(drill.start, Fraction(0)))

    def texts(self) -> dict[str, str]:
        """Return the texts of the fields by their names; those of default values are left out."""
        texts = {"harp": self.harp.key.name, "tuning": self.harp.tuning.name}
        if self.position is not None:
            texts["position"] = str(self.position)
        if self.swing != 1.0:
            texts["swing"] = repr(self.swing)
        if self.tempo_to is not None:
            texts["tempo_to"] = repr(self.tempo_to)
        if self.pickup:
            texts["pickup"] = str(self.pickup)
        return texts

    @classmethod
    def read(cls, texts: Mapping[str, str]) -> DrillFields | None:
        """Return the fields with given texts; None if they name no harp, or are damaged."""
        if "harp" not in texts:
            return None
        try:
            fields = cls(
                Harp.of(texts["harp"], texts.get("tuning", "richter")),
                int(texts["position"]) if "position" in texts else None,
                float(texts.get("swing", 1.0)),
                float(texts["tempo_to"]) if "tempo_to" in texts else None,
                Fraction(texts.get("pickup", 0)),
            )
        except (HarpError, ValueError, ZeroDivisionError):
            return None
        is_valid = (
            fields.position in (None, *POSITIONS)
            and 1.0 <= fields.swing <= MAX_SWING
            and fields.pickup >= 0
        )
        return fields if is_valid else None


def tempo_at(drill: Drill, beat: Fraction) -> float:
    """Return the tempo in beats per minute at a beat."""
    change = drill.tempo_change
    return drill.tempo * change.factor(float(beat)) if change else drill.tempo
