"""The day's set as text for people and as data for programs, and what came of it."""

from __future__ import annotations

import textwrap

from trainer.coach import DailySet, Reason, SetEntry
from trainer.practice import Event
from trainer.practice.day_session import DayEnded, DayEvent, EntryEnded, EntryStarted
from trainer.report.formatting import quantity_text, score_text
from trainer.report.schemas.progress import DailySetData
from trainer.report.tab_layout import drill_text, tab_page_text
from trainer.report.take_lines import TakeLines

NARROWEST = 40
"""Lines are never broken into less than this."""
EVEN = 0.5
"""Moves of less are none."""


def daily_set_text(day: DailySet, width: int = 80) -> str:
    """The set: a line on the whole, and for each entry what it is for, its title and why.

    Args:
        day: the set.
        width: columns that a line may take; less than 40 is taken as 40.
    """
    width = max(width, NARROWEST)
    lines = textwrap.wrap(_head(day), width)
    harps = len({(entry.key, entry.tuning) for entry in day.entries}) > 1
    for number, entry in enumerate(day.entries, 1):
        sign = "x" if day.is_done(entry) else " "
        first = f"{number:>2} [{sign}] {entry.reason:<8} {entry.drill}, {_minutes(entry.seconds)}"
        told = f"{entry.title}: {entry.why}.{_result(day, entry)}"
        on = f", {entry.key} harp" if harps else ""
        lines += ["", *textwrap.wrap(first + on, width)]
        lines += textwrap.wrap(told, width, initial_indent=_INDENT, subsequent_indent=_INDENT)
    return "\n".join(lines)


def daily_set_sentences(day: DailySet) -> str:
    """The same as one sentence or two an entry, without columns, for screen readers and logs."""
    lines = [_head(day)]
    for number, entry in enumerate(day.entries, 1):
        state = "done" if day.is_done(entry) else "to play"
        lines.append(
            f"{number}, {state}, {entry.reason}: {entry.drill}, {entry.title}, on the "
            f"{_harp(entry)} harp, {_minutes(entry.seconds)}: {entry.why}.{_result(day, entry)}"
        )
    return "\n".join(lines)


def daily_set_data(day: DailySet) -> DailySetData:
    """The set as data that JSON can hold. Minutes and seconds are as expected, not as played."""
    return {
        "player": day.player,
        "day": day.day.isoformat(),
        "minutes": day.minutes,
        "seconds": round(day.seconds, 1),
        "score": day.score,
        "moved": day.mean_gain,
        "saved": day.unsaved is None,
        "entries": [
            {
                "drill": entry.drill,
                "title": entry.title,
                "reason": str(entry.reason),
                "why": entry.why,
                "harp": entry.key,
                "tuning": entry.tuning,
                "passes": entry.passes,
                "most_takes": entry.most,
                "seconds": round(entry.seconds, 1),
                "pass_mark": entry.pass_mark,
                "last": entry.last,
                "scores": list(day.scores(entry)),
                "best": day.best(entry),
                "moved": day.gain(entry),
                "done": day.is_done(entry),
            }
            for entry in day.entries
        ],
    }


def day_summary_text(day: DailySet) -> str:
    """The day's score, and what moved since the last time, drill by drill and at the mean."""
    played = [entry for entry in day.entries if day.scores(entry)]
    if not played:
        return "Nothing has been played today."
    done = sum(day.is_done(entry) for entry in day.entries)
    name = max(len(entry.drill) for entry in played)
    lines = [f"{entry.drill:<{name}}  {_score(day, entry)}" for entry in played]
    assert day.score is not None
    total = f"The day's score: {score_text(day.score)}, the mean of the best takes of "
    lines.append(f"{total}{quantity_text(len(played), 'drill')}.{_overall(day)}")
    left = f"{done} of {quantity_text(len(day.entries), 'drill')} done"
    again = "" if done == len(day.entries) else "; 'trainer today --go' takes up the rest"
    return "\n".join([*lines, f"{left}{again}."])


class DaySessionLines:
    """Turns the events of a day into lines.

    Args:
        width: cells of a line.
    """

    def __init__(self, width: int = 80) -> None:
        self._width = width
        self._lines: TakeLines | None = None

    def lines(self, event: Event | DayEvent) -> list[str]:
        """The lines that an event is worth; none for most."""
        match event:
            case EntryStarted(number, count, entry, plan, rest_s):
                drill = plan.drill
                assert drill is not None
                self._lines = TakeLines(plan, self._width)
                begins = f" It begins in {rest_s:.0f} seconds." if rest_s else ""
                head = (
                    f"{number} of {count}, {entry.reason}: {drill.title}, on the {_harp(entry)} "
                    f"harp; {entry.why}.{begins}"
                )
                shown = drill_text if entry.reason is Reason.NEW else tab_page_text
                return ["", *textwrap.wrap(head, self._width), "", shown(drill, self._width)]
            case EntryEnded(entry, day):
                return [_closing(day, entry)]
            case DayEnded(day):
                return ["", *day_summary_text(day).splitlines()]
        return self._lines.lines(event) if self._lines else []


_INDENT = " " * 7


def _head(day: DailySet) -> str:
    date = day.day.isoformat()
    if not day.entries:
        return (
            f"Nothing for {day.player} on {date}: no drill at hand fits into "
            f"{_minutes(60.0 * day.minutes)}."
        )
    done = sum(day.is_done(entry) for entry in day.entries)
    state = f"; {done} of them done" if done else ""
    asked, takes = 60.0 * day.minutes, _minutes(day.seconds)
    short = "" if day.seconds > 0.8 * asked else f" of the {_minutes(asked)} asked for"
    return (
        f"Today for {day.player}, {date}: {quantity_text(len(day.entries), 'drill')}, about "
        f"{takes}{short}{state}."
    )


def _minutes(seconds: float) -> str:
    return quantity_text(max(1, round(seconds / 60.0)), "minute")


def _harp(entry: SetEntry) -> str:
    return entry.key if entry.tuning == "richter" else f"{entry.key}, {entry.tuning},"


def _result(day: DailySet, entry: SetEntry) -> str:
    return f" Today: {_score(day, entry)}." if day.scores(entry) else ""


def _score(day: DailySet, entry: SetEntry) -> str:
    """The best take of an entry, and against the last time."""
    best, moved = day.best(entry), day.gain(entry)
    assert best is not None
    if moved is None or entry.last is None:
        against = "for the first time"
    elif abs(moved) < EVEN:
        against = "as last time"
    else:
        way = "better" if moved > 0.0 else "worse"
        against = f"{abs(moved):.0f} {way} than last time ({score_text(entry.last)})"
    return f"{score_text(best)}, {against}"


def _overall(day: DailySet) -> str:
    if day.mean_gain is None:
        return ""
    moves = [by for entry in day.entries if (by := day.gain(entry)) is not None]
    better = sum(by >= EVEN for by in moves)
    worse = sum(by <= -EVEN for by in moves)
    return (
        f" Against the last time: {better} better, {worse} worse, "
        f"{day.mean_gain:+.1f} points at the mean."
    )


def _closing(day: DailySet, entry: SetEntry) -> str:
    if not day.scores(entry):
        return f"{entry.drill}: not played whole."
    state = "done" if day.is_done(entry) else "not done yet"
    return f"{entry.drill}: {state}; {_score(day, entry)}."
