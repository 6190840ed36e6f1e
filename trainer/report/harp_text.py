"""The player's own harps: measuring them, how each is tuned, and how its reeds wear.

All lines of the texts fit 80 columns.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date
from typing import Any

from trainer.harp import Harp, HarpError
from trainer.harp.measured_tuning import (
    Octave,
    nearest_temperament,
    octaves,
    standings,
    tuned_to,
)
from trainer.music import cents
from trainer.practice import Event, Failed, Notice, Paused, Resumed, Started
from trainer.practice.harp_measurement import (
    Again,
    Asked,
    Attack,
    Measured,
    MeasureEvent,
    Sounding,
)
from trainer.reedcare.own_harps import plain_harp, reed_pitches
from trainer.reedcare.watch import HarpWatch
from trainer.reedcare.wear import FEWEST_DAYS, Change, ReedHistory, State
from trainer.report.progress_text import counted, day_text
from trainer.store import OwnHarp

WIDTH = 80
BREATHE = (
    "Breathe as for a quiet tune: blown hard, a reed sounds flat. Rest whenever you like, and stop "
    "if you feel light-headed."
)
BY_BREATH = (
    "A reed sounds some cents differently by breath and warmth: measure at a moderate breath, on a "
    "harp as warm as it is when you play."
)


def before_measuring(harp: Harp) -> str:
    """What a player is told before a harp is measured."""
    return _filled(
        f"Measuring a {harp.name} harp: play the note that is asked for, one hole alone, for two "
        f"seconds. Play another hole to measure that one first, or anew. {BREATHE} Ctrl-C ends "
        "it, and keeps what is measured."
    )


def measure_line(event: Event | MeasureEvent, harp: Harp, *, guided: bool = True) -> str | None:
    """The line that an event of measuring is worth; None for most.

    Args:
        event: what happened.
        harp: what is measured.
        guided: whether somebody plays what is asked for, and does not read a recording.
    """
    match event:
        case Started(source=source):
            return f"Listening to {source}."
        case Asked(tab, note, done, of):
            return f"{done + 1:>3} of {of}: play {tab} ({tab.breath} {tab.hole}, {note})"
        case Attack(tab=tab):
            return _attack_line(event, harp.note(tab), guided)
        case Again(sentence) | Notice(sentence):
            return f"     {sentence}"
        case Paused(sentence):
            return f"Paused: {sentence}"
        case Resumed():
            return "The sound is back."
        case Failed(sentence):
            return f"Stopped: {sentence}"
    return None


def _attack_line(one: Attack, note: str, guided: bool) -> str:
    heard = f"     {one.tab}, {note}: {one.hz:.2f} Hz, {one.cents:+.1f} cents"
    if one.asked or not guided:
        return heard
    alike = "" if one.twin is None else f" ({one.twin} sounds alike)"
    return f"{heard}; you played {one.tab}{alike}"


def sounding_text(event: Sounding) -> str:
    """What is heard just now, in a few words."""
    if event.tab is None or event.cents is None:
        return f"no natural note of this harp  {event.seconds:4.1f} s"
    return f"{event.tab} {event.cents:+6.1f} cents  {event.seconds:4.1f} s"


def measured_text(event: Measured) -> str:
    """What came of measuring."""
    count = len(event.reeds)
    if not event.missing:
        return f"All {count} reeds are measured."
    missing = ", ".join(str(tab) for tab in event.missing)
    return _filled(
        f"{count} of {count + len(event.missing)} reeds are measured; missing: {missing}. Measure "
        "again under the same name to add them."
    )


def harps_text(harps: Sequence[OwnHarp], today: date) -> str:
    """The player's harps, a line each."""
    if not harps:
        return (
            "no harp of your own was measured yet; 'trainer harp measure NAME --harp KEY' does that"
        )
    width = max(len(one.name) for one in harps)
    return "\n".join(_harp_line(one, width, today) for one in harps)


def _harp_line(own: OwnHarp, width: int, today: date) -> str:
    try:
        harp = plain_harp(own)
    except HarpError as error:
        return f"{own.name:<{width}}  {error}"
    a4 = tuned_to(harp, reed_pitches(own))
    return (
        f"{own.name:<{width}}  {harp.name}, A4 = {a4:.1f} Hz, {len(own.reeds)} reeds measured "
        f"{day_text(_day(own), today)}"
    )


def harps_data(harps: Sequence[OwnHarp]) -> list[dict[str, Any]]:
    """The player's harps as plain data."""
    return [
        {
            "name": one.name,
            "player": one.player,
            "key": one.tag.key,
            "tuning": one.tag.tuning,
            "a4": round(tuned_to(plain_harp(one), reed_pitches(one)), 3),
            "reeds": len(one.reeds),
            "measured": one.measured.isoformat(),
        }
        for one in harps
    ]


def own_harp_text(own: OwnHarp, temperament: str | None, today: date) -> str:
    """How a harp is tuned, reed by reed."""
    harp, reeds = plain_harp(own, temperament), reed_pitches(own)
    return "\n".join(
        [
            *_own_head(own, harp, today),
            "",
            *_reed_lines(own, harp),
            *_octave_lines(octaves(harp, reeds)),
            "",
            *textwrap.wrap(BY_BREATH, WIDTH),
        ]
    )


def _own_head(own: OwnHarp, harp: Harp, today: date) -> Iterator[str]:
    reeds = reed_pitches(own)
    a4 = tuned_to(harp, reeds)
    off = cents(a4, harp.a4)
    nearest, spread = nearest_temperament(harp, reeds)
    yield f"{own.name}: {harp.name} harp, measured {day_text(_day(own), today)}"
    yield f"As a whole {_off_text(off)} A4 = {harp.a4:g} Hz: its own A4 is {a4:.2f} Hz."
    yield (
        f"Of the temperaments its reeds lie nearest to {nearest}: "
        f"{spread:.1f} cents away on average."
    )


def _reed_lines(own: OwnHarp, harp: Harp) -> Iterator[str]:
    spread = {reed.tab: reed.spread_cents for reed in own.reeds}
    equal = f"equal {harp.a4:g}"
    yield f"{'':<12}{'':>10}{'cents from':>12}{'in itself,':>13}{'beside its':>13}"
    yield (
        f"{'reed':<6}{'note':<6}{'Hz':>10}{equal:>12}{harp.temperament.name:>13}"
        f"{'neighbours':>13}{'spread':>10}"
    )
    for one in standings(harp, reed_pitches(own)):
        beside = "" if one.beside is None else _signed(one.beside)
        yield (
            f"{one.tab!s:<6}{harp.note(one.tab):<6}{one.hz:>10.2f}{_signed(one.equal):>12}"
            f"{_signed(one.off):>13}{beside:>13}{spread[str(one.tab)]:>10.1f}"
        )


def _octave_lines(found: Sequence[Octave]) -> Iterator[str]:
    if not found:
        return
    yield ""
    yield "octaves     beats a second"
    for one in found:
        wide = "wide" if one.cents > 0 else "narrow"
        yield (
            f"{f'{one.low} and {one.high}':<12}{one.beats_hz:>8.2f}   "
            f"{abs(one.cents):.1f} cents {wide}"
        )


def own_harp_data(own: OwnHarp, temperament: str | None) -> dict[str, Any]:
    """How a harp is tuned, as plain data; cents to 0.01, Hz to 0.001."""
    harp, reeds = plain_harp(own, temperament), reed_pitches(own)
    spread = {reed.tab: reed.spread_cents for reed in own.reeds}
    nearest, within = nearest_temperament(harp, reeds)
    return {
        **harps_data([own])[0],
        "a4": round(tuned_to(harp, reeds), 3),
        "temperament": harp.temperament.name,
        "nearest_temperament": nearest,
        "nearest_within_cents": round(within, 2),
        "reeds": [
            {
                "tab": str(one.tab),
                "note": harp.note(one.tab),
                "hz": round(one.hz, 3),
                "cents_equal": round(one.equal, 2),
                "cents_in_itself": round(one.off, 2),
                "cents_beside": None if one.beside is None else round(one.beside, 2),
                "spread_cents": round(spread[str(one.tab)], 2),
            }
            for one in standings(harp, reeds)
        ],
        "octaves": [
            {
                "low": str(one.low),
                "high": str(one.high),
                "beats_hz": round(one.beats_hz, 3),
                "cents": round(one.cents, 2),
            }
            for one in octaves(harp, reeds)
        ],
    }


def watch_text(watch: HarpWatch, today: date) -> str:
    """How a harp's reeds wear: what has changed, and a line for each reed."""
    own = watch.harp
    if watch.first is None or watch.last is None:
        return f"{own.name} was not heard yet"
    return "\n".join(
        [
            f"{own.name}: {counted(watch.notes, 'note')} on {counted(watch.days, 'day')}, "
            f"{day_text(watch.first, today)} to {day_text(watch.last, today)}",
            *_filled(verdict_text(watch, today)).splitlines(),
            *_histories(watch, today),
        ]
    )


def _histories(watch: HarpWatch, today: date) -> Iterator[str]:
    known = [one for one in watch.reeds if one.state is not State.FEW]
    few = [f"{one.tab} ({len(one.days)})" for one in watch.reeds if one.state is State.FEW]
    if known:
        yield ""
        yield f"{'reed':<7}{'note':<7}{'days':>5}{'notes':>7}  {'now':>6}  {'noise':>6}  state"
        harp = plain_harp(watch.harp)
        yield from (_history_line(one, harp, today) for one in known)
        yield ""
        yield from textwrap.wrap(
            "Cents from the other reeds of the same day, from where the reed stood before: what "
            "moves all reeds alike, a cold room or another breath, does not count.",
            WIDTH,
        )
    if few:
        yield from textwrap.wrap(
            f"Heard on fewer than {FEWEST_DAYS} days: {', '.join(few)}.", WIDTH
        )


def watches_text(watches: Sequence[HarpWatch], today: date) -> str:
    """How the reeds of several harps wear, in short."""
    return "\n".join(_filled(f"{one.harp.name}: {verdict_text(one, today)}") for one in watches)


def verdict_text(watch: HarpWatch, today: date) -> str:
    """What a harp's reeds come to, in a sentence or two."""
    changed = [one for one in watch.reeds if one.change is not None]
    if changed:
        told = " ".join(_change_text(one, today) for one in changed)
        flat = any(one.state is State.FLAT for one in changed)
        return f"{told} Measure the harp again to be sure." if flat else told
    known = sum(one.state is State.STEADY for one in watch.reeds)
    if not known:
        return "Too few days so far to say anything; play on it and look again."
    return f"No reed has gone flat against the others, of {known} that are known well enough."


def _change_text(reed: ReedHistory, today: date) -> str:
    change = reed.change
    assert change is not None
    sure = "has gone flat" if reed.state is State.FLAT else "may be going flat"
    how = "at once" if change.a_month is None else f"by {change.a_month:.1f} cents a month"
    text = (
        f"{reed.tab} {sure} against the others: by {change.cents:.0f} cents "
        f"({max(0.0, change.low):.0f} to {change.high:.0f}), {how}, since about "
        f"{_between(change, today)}."
    )
    if reed.state is State.PERHAPS:
        text += " Some more days will tell."
    return text


def _between(change: Change, today: date) -> str:
    if change.earliest == change.latest:
        return day_text(change.since, today)
    return (
        f"{day_text(change.since, today)} ({day_text(change.earliest, today)} to "
        f"{day_text(change.latest, today)})"
    )


def _history_line(one: ReedHistory, harp: Harp, today: date) -> str:
    now = _signed(-one.change.cents if one.change else _now(one))
    state = one.state.value
    if one.change is not None:
        state += f" since {day_text(one.change.since, today)}"
    return (
        f"{one.tab!s:<7}{harp.note(one.tab):<7}{len(one.days):>5}{sum(one.notes):>7}  {now:>6}  "
        f"{one.noise:>6.1f}  {state}"
    )


def _now(one: ReedHistory) -> float:
    """Where a reed stands, by the last days."""
    last = sorted(one.cents[-5:])
    return last[len(last) // 2] if last else 0.0


def watch_data(watch: HarpWatch) -> dict[str, Any]:
    """How a harp's reeds wear, as plain data; days as ISO dates, cents to 0.01."""
    return {
        "name": watch.harp.name,
        "days": watch.days,
        "notes": watch.notes,
        "reeds": [
            {
                "tab": str(one.tab),
                "state": one.state.value,
                "noise_cents": round(one.noise, 2),
                "change": None if one.change is None else _change_data(one.change),
                "history": [
                    {"day": day.isoformat(), "cents": round(off, 2), "notes": notes}
                    for day, off, notes in zip(one.days, one.cents, one.notes, strict=True)
                ],
            }
            for one in watch.reeds
        ],
    }


def _change_data(change: Change) -> dict[str, Any]:
    return {
        "since": change.since.isoformat(),
        "earliest": change.earliest.isoformat(),
        "latest": change.latest.isoformat(),
        "cents_flat": round(change.cents, 2),
        "low": round(change.low, 2),
        "high": round(change.high, 2),
        "cents_a_month": None if change.a_month is None else round(change.a_month, 2),
        "standard_errors": round(change.strength, 2),
    }


def _signed(off: float) -> str:
    """Cents to a tenth, with their sign; 0 has none."""
    tenth = round(off, 1)
    return f"{tenth:+.1f}" if tenth else "0.0"


def _off_text(off: float) -> str:
    if abs(off) < 0.05:
        return "right on"
    return f"{abs(off):.1f} cents {'sharp' if off > 0 else 'flat'} of"


def _day(own: OwnHarp) -> date:
    return own.measured.astimezone().date()


def _filled(text: str) -> str:
    return textwrap.fill(text, WIDTH)
