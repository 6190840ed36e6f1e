"""The daily set as text and JSON data, and its outcome."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from trainer.coach import DailySet, Missing, Reason, SetEntry
from trainer.core.quantities import quantity_text
from trainer.practice import DayEnded, DayEvent, EntryEnded, EntryStarted, Event
from trainer.report.formatting import WIDTH, fill, score_text
from trainer.report.schemas.progress import DailySetData
from trainer.report.tab_layout import drill_text, tab_page_text
from trainer.report.take_lines import TakeLines
from trainer.store import Placement

MIN_CHANGE_POINTS = 0.5
"""Change of a score that is shown as a change, in points; it rounds to 1."""
SHORT_SET = 0.8
"""Fraction of the requested time below which a set is called shorter than requested."""
_INDENT = " " * 7


def daily_set_text(day: DailySet, width: int = WIDTH) -> str:
    """Return the set as lines: the whole, and for each entry its reason and title.

    Args:
        day: the set.
        width: line width in columns.
    """
    lines = fill(_head(day), width).splitlines()
    has_several_harps = len({(entry.key, entry.tuning) for entry in day.entries}) > 1
    for number, entry in enumerate(day.entries, 1):
        sign = "x" if day.is_done(entry) else " "
        head = f"{number:>2} [{sign}] {entry.reason:<8} {entry.drill}, {_minutes(entry.seconds)}"
        harp = f", {entry.key} harp" if has_several_harps else ""
        body = f"{entry.title}: {entry.why}.{_result(day, entry)}"
        lines += ["", fill(head + harp, width), fill(body, width, _INDENT, _INDENT)]
    return "\n".join(lines)


def daily_set_sentences(day: DailySet) -> str:
    """Return the set as a sentence or two per entry, for screen readers and logs."""
    lines = [_head(day)]
    for number, entry in enumerate(day.entries, 1):
        state = "done" if day.is_done(entry) else "to play"
        lines.append(
            f"{number}, {state}, {entry.reason}: {entry.drill}, {entry.title}, on the "
            f"{_harp(entry)} harp, {_minutes(entry.seconds)}: {entry.why}.{_result(day, entry)}"
        )
    return "\n".join(lines)


def daily_set_data(day: DailySet) -> DailySetData:
    """Return the set as JSON data; durations are expected, not played."""
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
                "tempo": entry.tempo,
                "bars": entry.bars,
                "tolerance": entry.tolerance,
                "scores": list(day.scores(entry)),
                "best": day.best(entry),
                "moved": day.gain(entry),
                "done": day.is_done(entry),
            }
            for entry in day.entries
        ],
    }


def placement_text(placements: Iterable[Placement]) -> str:
    """Return the levels of a placement as lines."""
    levels = sorted(placements, key=lambda each: (-each.level, each.skill))
    if not levels:
        return "The course begins at level 1."
    lines = [f"  level {each.level}  {each.skill}" for each in levels]
    return "\n".join(["Your levels; what you play from now on corrects them:", *lines])


def day_summary_text(day: DailySet) -> str:
    """Return the score of each played drill and of the day, and the change since last time."""
    played = [entry for entry in day.entries if day.scores(entry)]
    if not played:
        return "Nothing has been played today."
    done = sum(day.is_done(entry) for entry in day.entries)
    columns = max(len(entry.drill) for entry in played)
    lines = [f"{entry.drill:<{columns}}  {_score(day, entry)}" for entry in played]
    assert day.score is not None
    total = f"The day's score: {score_text(day.score)}, the mean of the best takes of "
    lines.append(f"{total}{quantity_text(len(played), 'drill')}.{_mean_change(day)}")
    progress = f"{done} of {quantity_text(len(day.entries), 'drill')} done"
    more = "" if done == len(day.entries) else "; 'trainer today --go' continues"
    return "\n".join([*lines, f"{progress}{more}."])


class DaySessionLines:
    """Turns the events of a day's session into lines.

    Args:
        width: line width in columns.
    """

    def __init__(self, width: int = WIDTH) -> None:
        self._width = width
        self._lines: TakeLines | None = None

    def lines(self, event: Event | DayEvent) -> list[str]:
        """Return the lines for an event; most have none."""
        match event:
            case EntryStarted(number, count, entry, plan, rest_s):
                drill = plan.drill
                assert drill is not None
                self._lines = TakeLines(plan, self._width)
                start = f" It begins in {quantity_text(round(rest_s), 'second')}." if rest_s else ""
                head = (
                    f"{number} of {count}, {entry.reason}: {drill.title}, on the {_harp(entry)} "
                    f"harp; {entry.why}.{start}"
                )
                text_of = drill_text if entry.reason is Reason.NEW else tab_page_text
                return ["", *textwrap.wrap(head, self._width), "", text_of(drill, self._width)]
            case EntryEnded(entry, day):
                return [_closing(day, entry)]
            case DayEnded(day):
                return ["", *day_summary_text(day).splitlines()]
        return self._lines.lines(event) if self._lines else []


def _head(day: DailySet) -> str:
    date = day.day.isoformat()
    requested_s = 60.0 * day.minutes
    if not day.entries:
        return f"Nothing to play for {day.player} on {date}: {_missing_text(day)}."
    done = sum(day.is_done(entry) for entry in day.entries)
    state = f"; {done} of them done" if done else ""
    is_short = day.seconds <= SHORT_SET * requested_s
    requested = f" of the {_minutes(requested_s)} requested" if is_short else ""
    return (
        f"Today for {day.player}, {date}: {quantity_text(len(day.entries), 'drill')}, about "
        f"{_minutes(day.seconds)}{requested}{state}."
    )


def _missing_text(day: DailySet) -> str:
    """Return why a set is empty, and what to do."""
    minutes = _minutes(60.0 * day.minutes)
    return {
        Missing.DRILLS: "the shelf is empty; 'trainer drill list' shows where drills belong",
        Missing.HARP: "no drill on the shelf suits the harp; choose another one with --harp",
        Missing.TIME: f"no drill fits into {minutes}; ask for more with --minutes",
        Missing.RESTING: "all you know is resting; 'trainer drill list' shows the whole shelf",
    }[day.missing or Missing.TIME]


def _minutes(seconds: float) -> str:
    return quantity_text(max(1, round(seconds / 60.0)), "minute")


def _harp(entry: SetEntry) -> str:
    """Return the harp of an entry, to stand before the word harp."""
    return entry.key if entry.tuning == "richter" else f"{entry.key}, {entry.tuning},"


def _result(day: DailySet, entry: SetEntry) -> str:
    return f" Today: {_score(day, entry)}." if day.scores(entry) else ""


def _score(day: DailySet, entry: SetEntry) -> str:
    """Return the best score of an entry, compared with the last time."""
    best, gain = day.best(entry), day.gain(entry)
    assert best is not None
    if gain is None or entry.last is None:
        comparison = "for the first time"
    elif abs(gain) < MIN_CHANGE_POINTS:
        comparison = "as last time"
    else:
        direction = "better" if gain > 0.0 else "worse"
        comparison = f"{abs(gain):.0f} {direction} than last time ({score_text(entry.last)})"
    return f"{score_text(best)}, {comparison}"


def _mean_change(day: DailySet) -> str:
    if day.mean_gain is None:
        return ""
    gains = [gain for entry in day.entries if (gain := day.gain(entry)) is not None]
    better = sum(gain >= MIN_CHANGE_POINTS for gain in gains)
    worse = sum(gain <= -MIN_CHANGE_POINTS for gain in gains)
    return (
        f" Compared with last time: {better} better, {worse} worse, "
        f"{day.mean_gain:+.1f} points on average."
    )


def _closing(day: DailySet, entry: SetEntry) -> str:
    if not day.scores(entry):
        return f"{entry.drill}: not played to the end."
    state = "done" if day.is_done(entry) else "not done yet"
    return f"{entry.drill}: {state}; {_score(day, entry)}."
