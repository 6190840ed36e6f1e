"""Shapes of charts of harps, measured harps, and the wear of reeds."""

from __future__ import annotations

from typing_extensions import TypedDict


class HoleData(TypedDict):
    """The bends of a hole."""

    hole: int
    """Number of the hole, 1 to 10."""
    bends: str | None
    """Breath of the higher reed, ``blow`` or ``draw``; null if it does not bend."""
    bend_limit_cents: float
    """Depth of its deepest bend in cents; 50 stands for a bend of less than a half step."""
    bends_alone: list[str]
    """Breaths in which a reed bends alone, because the other one has a valve."""


class ChartEntryData(TypedDict):
    """A tab entry of a harp."""

    tab: str
    """The entry."""
    hole: int
    """Number of its hole, 1 to 10."""
    breath: str
    """``blow`` or ``draw``."""
    kind: str
    """``blow``, ``draw``, ``blow bend``, ``draw bend``, ``overblow`` or ``overdraw``."""
    note: str
    """Name of its note with the octave, spelled in the key of the position."""
    degree: str
    """Scale degree in that key."""
    hz: float
    """Target frequency in hertz."""
    cents: float
    """Offset of the target from equal temperament in cents."""
    same_pitch: list[str]
    """Other entries of the same note."""


class HarpChartData(TypedDict):
    """Everything that a harp can play, seen from a position."""

    harp: str
    """Name of the harp."""
    key: str
    """Key of the harp."""
    tuning: str
    """Name of its tuning."""
    a4: float
    """Reference pitch A4 in hertz."""
    temperament: str
    """Name of the temperament of its targets."""
    position: int
    """Position, 1 to 12."""
    position_key: str
    """Key that the harp plays in that position."""
    holes: list[HoleData]
    """The bends of each hole."""
    entries: list[ChartEntryData]
    """The tab entries, by hole."""


class HarpChoiceData(TypedDict):
    """The harp that plays a song's key in one position."""

    position: int
    """Position, 1 to 12."""
    harp: str
    """Key of the harp."""
    mode: str | None
    """Name of the mode or scale of these degrees; null if they have none."""
    naturals: tuple[str, ...]
    """Scale degrees of the song's key that it plays without bends, ascending."""


class HarpChoicesData(TypedDict):
    """The harps for a song's key."""

    song: str
    """Key of the song."""
    tuning: str
    """Name of the tuning."""
    position: int
    """Position that was asked for, 1 to 12."""
    harp: str
    """Key of the harp for that position."""
    positions: list[HarpChoiceData]
    """The harps for all positions."""


class OwnHarpSummaryData(TypedDict):
    """A harp that the player has measured."""

    name: str
    """The player's name for the harp."""
    player: str
    """Name of the player."""
    key: str
    """Key of the harp."""
    tuning: str
    """Name of its tuning."""
    a4: float
    """Reference pitch A4 in hertz that fits its reeds best."""
    reeds: int
    """Number of measured reeds."""
    measured: str
    """Time of measurement, ISO 8601 with time zone."""


class ReedTuningData(TypedDict):
    """How a reed is tuned."""

    tab: str
    """Tab of its natural note."""
    note: str
    """Name of its note with the octave."""
    hz: float
    """Measured pitch in hertz."""
    cents_equal: float
    """Offset from equal temperament at the nominal A4 in cents."""
    cents_in_itself: float
    """Offset from the temperament at the harp's own A4 in cents."""
    cents_beside: float | None
    """The same offset relative to the neighbouring reeds; null without neighbours."""
    spread_cents: float
    """Spread of its readings in cents."""


class OctaveData(TypedDict):
    """An octave of the harp."""

    low: str
    """Tab of its lower note."""
    high: str
    """Tab of its upper note."""
    beats_hz: float
    """Beat rate in hertz."""
    cents: float
    """Deviation from 1200 cents; positive is wide."""


class OwnHarpData(TypedDict):
    """How a measured harp is tuned."""

    name: str
    """The player's name for the harp."""
    player: str
    """Name of the player."""
    key: str
    """Key of the harp."""
    tuning: str
    """Name of its tuning."""
    a4: float
    """Reference pitch A4 in hertz that fits its reeds best."""
    reeds: list[ReedTuningData]
    """The measured reeds."""
    measured: str
    """Time of measurement, ISO 8601 with time zone."""
    temperament: str
    """Name of the temperament that it is compared with."""
    nearest_temperament: str
    """Name of the temperament nearest to its reeds."""
    nearest_within_cents: float
    """Mean distance from that temperament in cents."""
    octaves: list[OctaveData]
    """Its octaves."""


class ReedChangeData(TypedDict):
    """A reed that has gone flat."""

    since: str
    """Most probable day of the change, ISO 8601."""
    earliest: str
    """Earliest probable day, ISO 8601."""
    latest: str
    """Latest probable day, ISO 8601."""
    cents_flat: float
    """How much flatter it is now, in cents."""
    low: float
    """Lower end of the interval of that, in cents."""
    high: float
    """Upper end of the interval of that, in cents."""
    cents_a_month: float | None
    """Rate of change in cents per month; null for a sudden change."""
    standard_errors: float
    """Size of the change in standard errors."""


class ReedDayData(TypedDict):
    """A day on which a reed was heard."""

    day: str
    """The day, ISO 8601."""
    cents: float
    """Offset from the other reeds in cents."""
    notes: int
    """Number of notes."""


class ReedHistoryData(TypedDict):
    """The history of a reed."""

    tab: str
    """Tab of its natural note."""
    state: str
    """Its state in words."""
    noise_cents: float
    """Day-to-day noise in cents."""
    change: ReedChangeData | None
    """Its change; null if there is none."""
    history: list[ReedDayData]
    """Its days, in order."""


class ReedWatchData(TypedDict):
    """The wear of a harp's reeds."""

    name: str
    """The player's name for the harp."""
    days: int
    """Number of days on which it was heard."""
    notes: int
    """Number of notes."""
    reeds: list[ReedHistoryData]
    """Its reeds."""
