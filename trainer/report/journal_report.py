"""The journal as text for people and as plain data for JSON: lists, one take, and where it lies.

All lines of text fit 80 columns, or as many as are asked for.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.report.formatting import quantity_text, score_text
from trainer.report.result_report import NARROWEST
from trainer.report.schemas.journals import JournalData, ListedTakeData, PlayerSummaryData, TakeData
from trainer.store import Journal, OwnHarp, TakeRecord
from trainer.store.audio import BYTES_PER_MB, list_audio
from trainer.transfer.records import step_record_data, take_summary_data

if TYPE_CHECKING:
    from trainer.transfer.journal_files import JournalImport

SHORTEST_ID = 8
_HEARD_BY = {
    "microphone": "heard by the microphone",
    "recording": "from a recording",
    "player": "played by the built-in player",
}
_GIVE_WAY = (("drill", 17), ("player", 10), ("harp", 8), ("drill", 8), ("player", 6), ("harp", 5))
"""What is cut, in turn, and to what width, where a line would be too long."""


def short_ids(takes: Sequence[TakeRecord]) -> dict[str, str]:
    """How each take's id is written: its beginning, as long as tells these takes apart."""
    whole = [take.id for take in takes]
    longest = max(map(len, whole), default=SHORTEST_ID)
    length = SHORTEST_ID
    while length < longest and len({one[:length] for one in whole}) < len(whole):
        length += 1
    return {one: one[:length] for one in whole}


def takes_text(takes: Sequence[TakeRecord], width: int = 80) -> str:
    """Takes in a table, a line each, the latest last.

    Args:
        takes: in order of time; their steps do not matter.
        width: columns that a line may take; long names give way.
    """
    if not takes:
        return "There are no takes."
    written = short_ids(takes)
    rows = [_row(take, written[take.id]) for take in takes]
    if len({take.player for take in takes}) == 1:
        for row in rows:
            del row["player"]
    widths = {head: max(len(head), *(len(row[head]) for row in rows)) for head in rows[0]}
    for head, least in _GIVE_WAY:
        over = sum(widths.values()) + 2 * (len(widths) - 1) - width
        if over > 0 and head in widths:
            widths[head] = max(min(widths[head], least), widths[head] - over)
    return "\n".join(_line(row, widths) for row in ({head: head for head in widths}, *rows))


def takes_data(takes: Iterable[TakeRecord]) -> list[ListedTakeData]:
    """Takes for a program, without their steps: names as in :class:`TakeRecord`."""
    return [_listed_data(take) for take in takes]


def take_text(take: TakeRecord, width: int = 80) -> str:
    """One take: what was played on what by whom, each step's mark and why, and the total."""
    where = f"{take.harp.name} ({_harp(take)} harp)" if take.harp.name else f"{_harp(take)} harp"
    by = _HEARD_BY.get(take.source, take.source)
    heads = (
        f"{take.title} ({take.drill}), {where}, tempo {take.tempo:g}",
        f"{take.player}, {_when(take)}, {take.seconds:.0f} s, {by}",
    )
    lines = [_filled(head, width) for head in heads]
    lines.append("step  tab     mark  why")
    for step in take.steps:
        head = f"{step.index + 1:>3}  {step.tab:<8} {score_text(step.score):>3}  "
        lines.append(_filled(step.sentence, width, head, " " * len(head)))
    lines += [_filled(extra, width, " " * 5, " " * 5) for extra in take.extras]
    lines.append(_filled(_total(take), width))
    if take.audio is not None:
        lines.append(_filled(f"Its sound: trainer journal replay {take.id[:SHORTEST_ID]}", width))
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
    }


def _listed_data(take: TakeRecord) -> ListedTakeData:
    return {**take_summary_data(take), "audio": take.audio}


def import_text(file: str, imported: JournalImport, width: int = 80) -> str:
    """What was taken in of a file, and how much of it was new."""
    held, new = imported.contents, imported.new
    of = f" of {', '.join(held.players)}" if held.players else ""
    told = [_new(quantity_text(len(held.takes), "take") + of, new.takes)]
    if held.harps:
        told.append(_new(quantity_text(len(held.harps), "measured harp"), new.harps))
    if held.calibrations:
        told.append(_new(quantity_text(len(held.calibrations), "round trip"), new.calibrations))
    return _filled(f"{file}: {'; '.join(told)}", width, "", "  ")


def _new(what: str, count: int) -> str:
    return f"{what}, {count or 'none'} new"


@dataclass(frozen=True, slots=True)
class PlayerTally:
    """What the journal has of one player.

    Attributes:
        player: who.
        takes, days: how many, and on how many days.
        first, last: those days, ISO 8601; None where there are no takes.
        harps: names of the harps that were measured.
    """

    player: str
    takes: int
    days: int
    first: str | None
    last: str | None
    harps: tuple[str, ...]

    @classmethod
    def of(cls, player: str, takes: Iterable[TakeRecord], harps: Iterable[OwnHarp]) -> PlayerTally:
        """What of these is a player's."""
        days = [take.day.isoformat() for take in takes if take.player == player]
        named = {harp.name for harp in harps if harp.player == player}
        first, last = min(days, default=None), max(days, default=None)
        return cls(player, len(days), len(set(days)), first, last, tuple(sorted(named)))


def journal_data(path: Path) -> JournalData:
    """Where a journal lies, how large it is, and what is in it, ready for JSON.

    Sizes are bytes; `file_bytes` counts what is not yet moved from the log into the file, too. A
    journal that is not there yet holds nothing, and is not made.

    Raises:
        JournalError: it cannot be read.
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
        "sounds_missing": [take.id for one in kept if one.size is None for take in one.takes],
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


def journal_text(data: JournalData, width: int = 80) -> str:
    """The same for reading; `data` is what :func:`whereabouts` gives."""
    if not data["exists"]:
        return f"{data['path']}\nThere is no journal yet; the first take that is played begins it."
    size = f"{data['file_bytes'] / BYTES_PER_MB:.1f} MB"
    held = [
        quantity_text(data["takes"], "take"),
        quantity_text(data["harps"], "own harp"),
        quantity_text(data["calibrations"], "measured round trip"),
    ]
    lines = [data["path"], _filled(f"{size}: {', '.join(held)}.", width)]
    for player in data["players"]:
        told = f"  {player['player']}: {quantity_text(player['takes'], 'take')}"
        if player["takes"]:
            told += f" on {quantity_text(player['days'], 'day')}, {player['first']}"
            told += f" to {player['last']}" if player["last"] != player["first"] else ""
        if player["harps"]:
            told += f"; harps: {', '.join(player['harps'])}"
        lines.append(_filled(told, width, "", "    "))
    if data["sounds"]:
        lines.append(
            f"Sound of {quantity_text(data['sounds'], 'take')}: "
            f"{data['sound_bytes'] / BYTES_PER_MB:.1f} MB."
        )
    if missing := data["sounds_missing"]:
        short = ", ".join(one[:SHORTEST_ID] for one in missing)
        lines.append(_filled(f"Sound was kept and is missing: {short}.", width))
    if strange := data["sounds_of_no_take"]:
        lines.append(
            _filled(
                f"{quantity_text(len(strange), 'sound file')} beside it named as takes that it "
                "does not have; they are the first to go when room is needed.",
                width,
            )
        )
    return "\n".join(lines)


def _row(take: TakeRecord, written: str) -> dict[str, str]:
    notes = ["passed"] * take.passed + ["part"] * (not take.whole)
    return {
        "id": written,
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
    """The player's own day, and the time as the clock here has it."""
    return f"{take.day} {take.began.astimezone():%H:%M}"


def _harp(take: TakeRecord) -> str:
    harp = take.harp
    return harp.key if harp.tuning == "richter" else f"{harp.key}, {harp.tuning}"


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
    return text if len(text) <= width else text[: max(0, width - 1)] + "…"


def _filled(text: str, width: int, first: str = "", other: str = "") -> str:
    return textwrap.fill(text, max(width, NARROWEST), initial_indent=first, subsequent_indent=other)
