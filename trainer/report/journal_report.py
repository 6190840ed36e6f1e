"""The journal as text and as JSON data: lists of takes, one take, an import, and its state."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.core.quantities import quantity_text
from trainer.report.formatting import WIDTH, fill, harp_tag_text, score_text
from trainer.report.schemas.journals import JournalData, ListedTakeData, PlayerSummaryData, TakeData
from trainer.store import BYTES_PER_MB, Journal, OwnHarp, TakeRecord, list_audio
from trainer.transfer import step_record_data, take_summary_data

if TYPE_CHECKING:
    from trainer.transfer import JournalImport

MIN_ID_LENGTH = 8
"""Minimum number of characters of a shown id."""
_SOURCE_PHRASES = {
    "microphone": "heard by the microphone",
    "recording": "from a recording",
    "player": "played by the built-in player",
}
_SHORTENED = (("drill", 17), ("player", 10), ("harp", 8), ("drill", 8), ("player", 6), ("harp", 5))
"""Columns to shorten where a line is too long, in turn, and their minimum widths."""


def short_ids(takes: Sequence[TakeRecord]) -> dict[str, str]:
    """Return the shortest beginning of each id that is unique among these takes."""
    ids = [take.id for take in takes]
    longest = max(map(len, ids), default=MIN_ID_LENGTH)
    length = MIN_ID_LENGTH
    while length < longest and len({id_[:length] for id_ in ids}) < len(ids):
        length += 1
    return {id_: id_[:length] for id_ in ids}


def takes_text(takes: Sequence[TakeRecord], width: int = WIDTH) -> str:
    """Return takes as a table, a line each.

    Args:
        takes: in order of time; their steps are not used.
        width: line width in columns; long names are shortened.
    """
    if not takes:
        return "There are no takes."
    ids = short_ids(takes)
    rows = [_row(take, ids[take.id]) for take in takes]
    if len({take.player for take in takes}) == 1:
        for row in rows:
            del row["player"]
    widths = {head: max(len(head), *(len(row[head]) for row in rows)) for head in rows[0]}
    for head, min_width in _SHORTENED:
        excess = sum(widths.values()) + 2 * (len(widths) - 1) - width
        if excess > 0 and head in widths:
            widths[head] = max(min(widths[head], min_width), widths[head] - excess)
    return "\n".join(_line(row, widths) for row in ({head: head for head in widths}, *rows))


def takes_data(takes: Iterable[TakeRecord]) -> list[ListedTakeData]:
    """Return takes without their steps as JSON data."""
    return [_listed_data(take) for take in takes]


def take_text(take: TakeRecord, width: int = WIDTH) -> str:
    """Return a take as lines: what was played, each step's mark, and the total.

    Args:
        take: the take.
        width: line width in columns.
    """
    harp = f"{_harp(take)} harp"
    if take.harp.name:
        harp = f"{take.harp.name} ({harp})"
    source = _SOURCE_PHRASES.get(take.source, take.source)
    heads = (
        f"{take.title} ({take.drill}), {harp}, tempo {take.tempo:g}",
        f"{take.player}, {_when(take)}, {take.seconds:.0f} s, {source}",
    )
    lines = [fill(head, width) for head in heads]
    lines.append("step  tab     mark  why")
    for step in take.steps:
        head = f"{step.index + 1:>3}  {step.tab:<8} {score_text(step.score):>3}  "
        lines.append(fill(step.sentence, width, head, " " * len(head)))
    for solo in take.solos:
        head = f"solo, bar {max(1, solo.bar)}".ljust(13) + f"{score_text(solo.score):>4}  "
        lines.append(fill(solo.sentence, width, head, " " * len(head)))
    lines += [fill(extra, width, " " * 5, " " * 5) for extra in take.extras]
    lines.append(fill(_total(take), width))
    if take.audio is not None:
        lines.append(fill(f"Its audio: trainer journal replay {take.id[:MIN_ID_LENGTH]}", width))
    return "\n".join(lines)


def take_data(take: TakeRecord) -> TakeData:
    """Return a take as JSON data."""
    listed = _listed_data(take)
    return {
        "id": listed["id"],
        "player": listed["player"],
        "began": listed["began"],
        "day": listed["day"],
        "drill": listed["drill"],
        "title": listed["title"],
        "skills": listed["skills"],
        "harp": listed["harp"],
        "tempo": listed["tempo"],
        "source": listed["source"],
        "score": listed["score"],
        "passed": listed["passed"],
        "whole": listed["whole"],
        "seconds": listed["seconds"],
        "steps": tuple(step_record_data(step) for step in take.steps),
        "extras": listed["extras"],
        "audio": listed["audio"],
        "first_bar": listed["first_bar"],
        "last_bar": listed["last_bar"],
        "tolerance": listed["tolerance"],
        "solos": listed["solos"],
    }


def _listed_data(take: TakeRecord) -> ListedTakeData:
    return {**take_summary_data(take), "audio": take.audio}


def import_text(file: str, imported: JournalImport, width: int = WIDTH) -> str:
    """Return what an imported file held, and how much of it was new."""
    contents, new = imported.contents, imported.new
    players = f" of {', '.join(contents.players)}" if contents.players else ""
    parts = [_new_text(quantity_text(len(contents.takes), "take") + players, new.takes)]
    if contents.harps:
        parts.append(_new_text(quantity_text(len(contents.harps), "measured harp"), new.harps))
    if contents.calibrations:
        quantity = quantity_text(len(contents.calibrations), "round trip")
        parts.append(_new_text(quantity, new.calibrations))
    if contents.focuses:
        count = len(contents.focuses)
        parts.append(_new_text(f"{count} focus{'' if count == 1 else 'es'}", new.focuses))
    if contents.placements:
        parts.append(_new_text(quantity_text(len(contents.placements), "level"), new.placements))
    return fill(f"{file}: {'; '.join(parts)}", width, "", "  ")


def _new_text(quantity: str, new_count: int) -> str:
    return f"{quantity}, {new_count or 'none'} new"


@dataclass(frozen=True, slots=True)
class PlayerTally:
    """What the journal holds of one player.

    Attributes:
        player: name of the player.
        takes, days: number of takes, and of days with takes.
        first, last: first and last of those days, ISO 8601; None without takes.
        harps: names of the measured harps.
    """

    player: str
    takes: int
    days: int
    first: str | None
    last: str | None
    harps: tuple[str, ...]

    @classmethod
    def of(cls, player: str, takes: Iterable[TakeRecord], harps: Iterable[OwnHarp]) -> PlayerTally:
        """Return the tally of a player's share of takes and harps."""
        days = [take.day.isoformat() for take in takes if take.player == player]
        named = {harp.name for harp in harps if harp.player == player}
        first, last = min(days, default=None), max(days, default=None)
        return cls(player, len(days), len(set(days)), first, last, tuple(sorted(named)))


def journal_data(path: Path) -> JournalData:
    """Return where a journal is stored, its size, and what it holds, as JSON data.

    `file_bytes` includes the write-ahead log. A missing journal is not created.

    Raises:
        JournalError: the journal cannot be read.
    """
    data: JournalData = {"path": str(path), "exists": path.exists()}
    if not path.exists():
        return data
    with Journal(path) as journal:
        takes, harps, kept = journal.takes(steps=False), journal.harps(), list_audio(journal)
        calibrations, names = journal.calibrations(), journal.players()
        files = [path.with_name(path.name + end) for end in ("", "-wal")]
        size = sum(file.stat().st_size for file in files if file.exists())
    return {
        **data,
        "file_bytes": size,
        "takes": len(takes),
        "harps": len({(harp.player, harp.name) for harp in harps}),
        "calibrations": len(calibrations),
        "players": [_player_data(PlayerTally.of(name, takes, harps)) for name in names],
        "sounds": sum(sound.size is not None and bool(sound.takes) for sound in kept),
        "sound_bytes": sum(sound.size or 0 for sound in kept),
        "sounds_missing": [take.id for sound in kept if sound.size is None for take in sound.takes],
        "sounds_of_no_take": [str(sound.path) for sound in kept if not sound.takes],
    }


def _player_data(tally: PlayerTally) -> PlayerSummaryData:
    return {
        "player": tally.player,
        "takes": tally.takes,
        "days": tally.days,
        "first": tally.first,
        "last": tally.last,
        "harps": tally.harps,
    }


def journal_text(data: JournalData, width: int = WIDTH) -> str:
    """Return the state of a journal as lines.

    Args:
        data: from :func:`journal_data`.
        width: line width in columns.
    """
    if not data["exists"]:
        return f"{data['path']}\nThere is no journal yet; the first take that is played begins it."
    size = f"{data['file_bytes'] / BYTES_PER_MB:.1f} MB"
    quantities = [
        quantity_text(data["takes"], "take"),
        quantity_text(data["harps"], "own harp"),
        quantity_text(data["calibrations"], "measured round trip"),
    ]
    lines = [data["path"], fill(f"{size}: {', '.join(quantities)}.", width)]
    lines += [fill(_player_text(player), width, "", "    ") for player in data["players"]]
    if data["sounds"]:
        lines.append(
            f"Audio of {quantity_text(data['sounds'], 'take')}: "
            f"{data['sound_bytes'] / BYTES_PER_MB:.1f} MB."
        )
    if missing := data["sounds_missing"]:
        ids = ", ".join(id_[:MIN_ID_LENGTH] for id_ in missing)
        lines.append(fill(f"Missing audio: {ids}.", width))
    if strays := data["sounds_of_no_take"]:
        files = quantity_text(len(strays), "audio file")
        lines.append(
            fill(
                f"{files} in its folder without a take; deleted first when space is needed.",
                width,
            )
        )
    return "\n".join(lines)


def _player_text(player: PlayerSummaryData) -> str:
    text = f"  {player['player']}: {quantity_text(player['takes'], 'take')}"
    if player["takes"]:
        text += f" on {quantity_text(player['days'], 'day')}, {player['first']}"
        text += f" to {player['last']}" if player["last"] != player["first"] else ""
    if player["harps"]:
        text += f"; harps: {', '.join(player['harps'])}"
    return text


def _row(take: TakeRecord, id_: str) -> dict[str, str]:
    """Return the cells of a take by their heads."""
    notes = ["passed"] * take.passed + ["part"] * (not take.whole)
    return {
        "id": id_,
        "began": _when(take),
        "player": take.player,
        "drill": take.drill,
        "harp": take.harp.name or take.harp.key,
        "mark": score_text(take.score),
        "": ", ".join(notes + ["sound"] * (take.audio is not None)),
    }


def _line(row: dict[str, str], widths: dict[str, int]) -> str:
    cells = (
        f"{_cut(row[head], width):{'>' if head == 'mark' else '<'}{width}}"
        for head, width in widths.items()
    )
    return "  ".join(cells).rstrip()


def _when(take: TakeRecord) -> str:
    """Return the player's own day, and the time in the time zone of this computer."""
    return f"{take.day} {take.began.astimezone():%H:%M}"


def _harp(take: TakeRecord) -> str:
    return harp_tag_text(take.harp.key, take.harp.tuning)


def _total(take: TakeRecord) -> str:
    verdict = "passed" if take.passed else "not passed"
    part = "" if take.whole else ", a part of the drill"
    total = f"Total {score_text(take.score)} of 100, {verdict}{part}"
    weakest = min(take.steps, key=lambda step: step.score, default=None)
    if weakest is None:
        return f"{total}."
    number, score = weakest.index + 1, score_text(weakest.score)
    return f"{total}; weakest: step {number} ({weakest.tab}) with {score}."


def _cut(text: str, width: int) -> str:
    """Return text shortened to a width, with an ellipsis."""
    return text if len(text) <= width else text[: max(0, width - 1)] + "…"
