"""The chart of a harp, and the harps for a song's key, as text and JSON data.

The text chart shows the harp as it is held: the holes run across, blow notes are above them and
draw notes below, and the deeper a bend the further out it is. Below each note is its degree in the
position. All lines fit 80 columns.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from trainer.harp import HOLES, Breath, Harp, Tab, Tuning, standard_key
from trainer.music import (
    MAJOR_POSITIONS,
    MINOR_POSITIONS,
    POSITIONS,
    degree_name,
    harp_key_for,
    is_minor_key,
    key_in_position,
    mode_name,
    note_name,
    parse_song_key,
    pitch_class_name,
    position_name,
)
from trainer.report.formatting import WIDTH
from trainer.report.schemas.harps import HarpChartData, HarpChoicesData

_LABEL_COLUMNS = 16
"""Width of the labels of rows."""
_CELL_COLUMNS = 6
"""Width of a hole."""


@dataclass(frozen=True, slots=True)
class ChartEntry:
    """A tab entry of a harp.

    Attributes:
        tab: the entry.
        note: name of its note, spelled in the key of the position.
        degree: its scale degree in that key.
        hz: target frequency in hertz.
        cents: offset of the target from equal temperament.
        same_pitch: other entries of the same note.
    """

    tab: Tab
    note: str
    degree: str
    hz: float
    cents: float
    same_pitch: tuple[Tab, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """Everything that a harp can play, seen from a position.

    Attributes:
        harp: the harp.
        position: 1 to 12.
        key: key that the harp plays in that position.
        entries: the tab entries, by hole.
    """

    harp: Harp
    position: int
    key: str
    entries: tuple[ChartEntry, ...]

    @classmethod
    def of(cls, harp: Harp, position: int = 1) -> Chart:
        """Return the chart of a harp in a position.

        Raises:
            MusicError: the position is not 1 to 12.
        """
        tonic = key_in_position(harp.key.tonic, position)
        key = pitch_class_name(tonic, harp.key.note)
        entries = tuple(
            ChartEntry(
                tab=tab,
                note=note_name(harp.midi(tab), key),
                degree=degree_name(harp.midi(tab), tonic),
                hz=harp.hz(tab),
                cents=harp.offset(tab),
                same_pitch=harp.same_pitch(tab),
            )
            for tab in harp.entries
        )
        return cls(harp, position, key, entries)


def chart_data(chart: Chart) -> HarpChartData:
    """Return a chart as JSON data; hertz to 0.001, cents to 0.01.

    ``bend_limit_cents`` is 0 where nothing bends, and 50 for the shallow bend of a hole whose
    reeds are one half step apart.
    """
    harp = chart.harp
    return {
        "harp": harp.name,
        "key": harp.key.name,
        "tuning": harp.tuning.name,
        "a4": harp.a4,
        "temperament": harp.temperament.name,
        "position": chart.position,
        "position_key": chart.key,
        "holes": [
            {
                "hole": hole,
                "bends": harp.higher_reed(hole).value if _pair_depth(harp, hole) else None,
                "bend_limit_cents": _pair_depth(harp, hole),
                "bends_alone": [breath.value for breath in _breaths_alone(harp, hole)],
            }
            for hole in HOLES
        ],
        "entries": [
            {
                "tab": str(entry.tab),
                "hole": entry.tab.hole,
                "breath": entry.tab.breath.value,
                "kind": entry.tab.kind,
                "note": entry.note,
                "degree": entry.degree,
                "hz": round(entry.hz, 3),
                "cents": round(entry.cents, 2),
                "same_pitch": [str(tab) for tab in entry.same_pitch],
            }
            for entry in chart.entries
        ],
    }


def chart_text(chart: Chart) -> str:
    """Return a chart as text: the holes as a grid, then a line per entry."""
    return "\n".join([*_head(chart), "", *_grid(chart), "", *_list(chart)])


def _head(chart: Chart) -> Iterator[str]:
    harp = chart.harp
    tonic = key_in_position(harp.key.tonic, chart.position)
    reeds = (harp.key.tonic + step - tonic for step in (*harp.tuning.blow, *harp.tuning.draw))
    mode = mode_name(reeds)
    named = f", {mode} without bends" if mode else ""
    yield f"{harp.key} harp, {position_name(chart.position)} position: {chart.key}{named}"
    own = ", with your own offsets" if harp.offsets else ""
    yield from textwrap.wrap(
        f"{harp.tuning.title}; A4 = {harp.a4:g} Hz; temperament: {harp.temperament.name}{own}",
        WIDTH,
    )
    yield from textwrap.wrap(harp.tuning.about, WIDTH)


def _grid(chart: Chart) -> Iterator[str]:
    deepest = max(entry.tab.bend for entry in chart.entries)
    for bend in range(deepest, 0, -1):
        yield from _row(chart, "blow bend", bend)
    yield from _row(chart, "overblow")
    yield from _row(chart, "blow")
    yield _line("hole", (f"{hole:-<{_CELL_COLUMNS}}" for hole in HOLES))
    yield from _row(chart, "draw")
    for bend in range(1, deepest + 1):
        yield from _row(chart, "draw bend", bend)
    yield from _row(chart, "overdraw")
    yield ""
    harp = chart.harp
    yield _line("half-step bends", (_limit(_pair_depth(harp, hole)) for hole in HOLES))
    if harp.tuning.valves:
        alone = (" ".join(_breaths_alone(harp, hole)) for hole in HOLES)
        yield _line("bends alone", ("both" if " " in cell else cell for cell in alone))


def _pair_depth(harp: Harp, hole: int) -> float:
    """Return the depth in cents to which the higher reed of a hole bends."""
    return harp.bend_depth(hole, harp.higher_reed(hole))


def _breaths_alone(harp: Harp, hole: int) -> tuple[Breath, ...]:
    """Return the breaths in which a hole bends because of a valve."""
    return tuple(breath for breath in Breath if harp.tuning.bends_alone(hole, breath))


def _row(chart: Chart, kind: str, bend: int = 0) -> Iterator[str]:
    """Yield the notes of a kind of entry and their degrees; nothing if no hole has one."""
    entries = {
        entry.tab.hole: entry
        for entry in chart.entries
        if entry.tab.kind == kind and entry.tab.bend == bend
    }
    if entries:
        signs = "'" * bend
        label = f"{kind} {signs}"
        yield _line(label, (entries[hole].note if hole in entries else "" for hole in HOLES))
        yield _line("", (entries[hole].degree if hole in entries else "" for hole in HOLES))


def _line(label: str, cells: Iterable[str]) -> str:
    row = "".join(f"{cell:<{_CELL_COLUMNS}}" for cell in cells)
    return f"{label:<{_LABEL_COLUMNS}}{row}".rstrip(" -")


def _limit(cents: float) -> str:
    """Return the depth of the deepest bend in half steps."""
    if not cents:
        return "none"
    return "<1" if cents < 100.0 else f"{cents / 100.0:.0f}"


def _list(chart: Chart) -> Iterator[str]:
    yield "tab    what       note   degree       Hz   cents off equal"
    for entry in chart.entries:
        same = ", ".join(str(tab) for tab in entry.same_pitch)
        yield (
            f"{entry.tab!s:<7}{entry.tab.kind:<11}{entry.note:<7}{entry.degree:<7}"
            f"{entry.hz:>8.2f}{entry.cents:>+8.1f}{f'   same note as {same}' if same else ''}"
        )


@dataclass(frozen=True, slots=True)
class HarpChoice:
    """The harp that plays a song's key in a position.

    Attributes:
        position: 1 to 12.
        harp: key of the harp.
        naturals: scale degrees of the song's key that it plays without bends, ascending.
        mode: name of the mode or scale that these form; None if it has none.
    """

    position: int
    harp: str
    naturals: tuple[str, ...]
    mode: str | None


def harp_choices(song: str, tuning: Tuning) -> tuple[HarpChoice, ...]:
    """Return the harps of a tuning for a song's key, one per position.

    Raises:
        MusicError: the key is unknown.
    """
    tonic = parse_song_key(song)
    choices = []
    for position in POSITIONS:
        harp = harp_key_for(tonic, position)
        classes = sorted({(harp + reed - tonic) % 12 for reed in (*tuning.blow, *tuning.draw)})
        naturals = tuple(degree_name(pitch_class, 0) for pitch_class in classes)
        choices.append(HarpChoice(position, standard_key(harp), naturals, mode_name(classes)))
    return tuple(choices)


def harp_choices_data(song: str, position: int, tuning: Tuning) -> HarpChoicesData:
    """Return the harp for a song's key in a position, and those of all positions, as JSON data.

    Raises:
        MusicError: the key or position is unknown.
    """
    return {
        "song": song,
        "tuning": tuning.name,
        "position": position,
        "harp": standard_key(harp_key_for(parse_song_key(song), position)),
        "positions": [
            {
                "position": choice.position,
                "harp": choice.harp,
                "naturals": choice.naturals,
                "mode": choice.mode,
            }
            for choice in harp_choices(song, tuning)
        ],
    }


def harp_choices_text(song: str, position: int, tuning: Tuning) -> str:
    """Return the harp for a song's key in a position, and those of all positions, as text.

    The positions come in the order in which players choose them for a song in major or minor.

    Raises:
        MusicError: the key or position is unknown.
    """
    harp = standard_key(harp_key_for(parse_song_key(song), position))
    lines = [
        f"A song in {song}, {position_name(position)} position: {harp} harp "
        f"(tuning: {tuning.name})",
        "",
        "position   harp   degrees without bends   mode",
    ]
    for pick in _usual_choices(song, tuning):
        row = f"{position_name(pick.position):<11}{pick.harp:<7}{' '.join(pick.naturals):<24}"
        lines.append(f"{row}{pick.mode or ''}".rstrip())
    return "\n".join(lines)


def usual_position(song: str, tuning: Tuning) -> int:
    """Return the position that a song's key is played in unless asked otherwise.

    The first position for major, if the tuning is major there; else the position that players
    choose first.

    Raises:
        MusicError: the key is unknown.
    """
    choices = _usual_choices(song, tuning)
    suits_first = any(choice.position == 1 and _suits(choice, song) for choice in choices)
    return 1 if suits_first and not is_minor_key(song) else choices[0].position


def _usual_choices(song: str, tuning: Tuning) -> list[HarpChoice]:
    """Return the harps for a song: those whose naturals suit it, then the others.

    Those that suit it come in the order of major songs, which begins with the positions that other
    tunings are made for, second and first; the others in the song's own order (common practice).
    """
    choices = {choice.position: choice for choice in harp_choices(song, tuning)}
    suiting = [p for p in MAJOR_POSITIONS if _suits(choices[p], song)]
    order = MINOR_POSITIONS if is_minor_key(song) else MAJOR_POSITIONS
    return [choices[p] for p in (*suiting, *(p for p in order if p not in suiting))]


def _suits(choice: HarpChoice, song: str) -> bool:
    """Whether a harp has, without bends, the third of a song's key and no other, 2 and 5."""
    third, other = ("b3", "3") if is_minor_key(song) else ("3", "b3")
    return {"1", "2", third, "5"} <= set(choice.naturals) and other not in choice.naturals
