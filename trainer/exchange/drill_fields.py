"""What an exported file says of its drill beyond notes, so that it reads back as the same drill.

In MIDI it is text at the beginning of the first track (Standard MIDI Files 1.0, text event), in
MusicXML it is miscellaneous fields (MusicXML 4.0, `miscellaneous-field`). A field has a name and a
text: ``harp``, ``C``. Files of other programs have none of them.

Solos are rests to other programs. The lengths of all solos are a field, too, because a score has
only a mark where each begins.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from fractions import Fraction

from trainer.drill import (
    Drill,
    Ground,
    GroundStyle,
    SoloBrief,
    chords_text,
    drill_position,
    parse_ground,
)
from trainer.harp import Harp, HarpError
from trainer.music import POSITIONS, SCALES

SOLO_MARK = "solo"
"""Mark on the beginning of a passage that is left to the player."""
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
        ground, brief: as in :class:`trainer.drill.Drill`.
        solo_beats: lengths of its solos in beats, in order.
    """

    harp: Harp
    position: int | None = None
    swing: float = 1.0
    tempo_to: float | None = None
    pickup: Fraction = Fraction(0)
    ground: Ground | None = None
    brief: SoloBrief | None = None
    solo_beats: tuple[Fraction, ...] = ()

    @classmethod
    def of(cls, drill: Drill, harp: Harp) -> DrillFields:
        """Return the fields of a drill on a harp.

        Raises:
            HarpError: the harp cannot play the drill.
        """
        position = drill_position(drill, harp)
        return cls(
            harp,
            position,
            drill.swing,
            drill.tempo_to,
            -min(drill.start, Fraction(0)),
            drill.ground,
            drill.brief,
            tuple(solo.beats for solo in drill.solos),
        )

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
        if self.ground:
            chords = " ".join(chords_text(self.ground.bars).split())
            texts["ground"] = f"{self.ground.style.value} {chords}"
        if self.brief:
            texts["solo"] = json.dumps(asdict(self.brief))
            texts["solos"] = " ".join(map(str, self.solo_beats))
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
                _read_ground(texts.get("ground", "")),
                _read_brief(texts.get("solo", "")),
                tuple(map(Fraction, texts.get("solos", "").split())),
            )
        except (HarpError, ValueError, ZeroDivisionError):
            return None
        is_valid = (
            fields.position in (None, *POSITIONS)
            and 1.0 <= fields.swing <= MAX_SWING
            and fields.pickup >= 0
            and all(beats > 0 for beats in fields.solo_beats)
        )
        return fields if is_valid else None


def _read_ground(text: str) -> Ground | None:
    """Return the ground of a field; None without one.

    Raises:
        ValueError: it is damaged.
    """
    if not text:
        return None
    style, _, chords = text.partition(" ")
    bars, problems = parse_ground(chords, tonic=0)
    if problems:
        raise ValueError(problems[0].message)
    return Ground(bars, GroundStyle(style))


def _read_brief(text: str) -> SoloBrief | None:
    """Return the brief of a field; None without one.

    Raises:
        ValueError: it is damaged.
    """
    if not text:
        return None
    try:
        brief = SoloBrief(**json.loads(text))
        numbers = [value for name, value in asdict(brief).items() if name != "scale"]
        is_valid = brief.scale in SCALES and all(0 <= number < 100 for number in numbers)
    except TypeError as error:
        raise ValueError(str(error)) from None
    if not is_valid:
        raise ValueError(f"no solo can be played as {text[:40]}")
    return brief


def tempo_at(drill: Drill, beat: Fraction) -> float:
    """Return the tempo in beats per minute at a beat."""
    change = drill.tempo_change
    return drill.tempo * change.factor(float(beat)) if change else drill.tempo
