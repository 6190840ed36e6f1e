"""The wear of a harp's reeds over time as text and JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date

from trainer.harp import Harp
from trainer.reedcare.own_harps import nominal_harp
from trainer.reedcare.reed_history import PARAMETERS, Detuning, ReedHistory, ReedState
from trainer.reedcare.reed_watch import HarpWatch
from trainer.report.formatting import day_text, quantity_text
from trainer.report.schemas.harps import ReedChangeData, ReedWatchData

WIDTH = 80
"""Maximum line length in columns."""


def reed_watch_text(watch: HarpWatch, today: date) -> str:
    """How a harp's reeds wear: what has changed, and a line for each reed."""
    own = watch.harp
    if watch.first is None or watch.last is None:
        return f"{own.name} was not heard yet"
    return "\n".join(
        [
            f"{own.name}: {quantity_text(watch.notes, 'note')} on "
            f"{quantity_text(watch.days, 'day')}, "
            f"{day_text(watch.first, today)} to {day_text(watch.last, today)}",
            *_filled(reed_verdict_text(watch, today)).splitlines(),
            *_histories(watch, today),
        ]
    )


def _histories(watch: HarpWatch, today: date) -> Iterator[str]:
    known = [one for one in watch.reeds if one.state is not ReedState.TOO_FEW]
    few = [f"{one.tab} ({len(one.days)})" for one in watch.reeds if one.state is ReedState.TOO_FEW]
    if known:
        yield ""
        yield f"{'reed':<7}{'note':<7}{'days':>5}{'notes':>7}  {'now':>6}  {'noise':>6}  state"
        harp = nominal_harp(watch.harp)
        yield from (_history_line(one, harp, today) for one in known)
        yield ""
        yield from textwrap.wrap(
            "Cents from the other reeds of the same day, from where the reed stood before: what "
            "moves all reeds alike, a cold room or another breath, does not count.",
            WIDTH,
        )
    if few:
        yield from textwrap.wrap(
            f"Heard on fewer than {PARAMETERS.min_days} days: {', '.join(few)}.", WIDTH
        )


def reed_watches_text(watches: Sequence[HarpWatch], today: date) -> str:
    """How the reeds of several harps wear, in short."""
    return "\n".join(
        _filled(f"{one.harp.name}: {reed_verdict_text(one, today)}") for one in watches
    )


def reed_verdict_text(watch: HarpWatch, today: date) -> str:
    """What a harp's reeds come to, in a sentence or two."""
    changed = [one for one in watch.reeds if one.change is not None]
    if changed:
        told = " ".join(_change_text(one, today) for one in changed)
        flat = any(one.state is ReedState.FLAT for one in changed)
        return f"{told} Measure the harp again to be sure." if flat else told
    known = sum(one.state is ReedState.STEADY for one in watch.reeds)
    if not known:
        return "Too few days so far to say anything; play on it and look again."
    return f"No reed has gone flat against the others, of {known} that are known well enough."


def _change_text(reed: ReedHistory, today: date) -> str:
    change = reed.change
    assert change is not None
    sure = "has gone flat" if reed.state is ReedState.FLAT else "may be going flat"
    how = (
        "at once"
        if change.cents_per_month is None
        else f"by {change.cents_per_month:.1f} cents a month"
    )
    text = (
        f"{reed.tab} {sure} against the others: by {change.cents:.0f} cents "
        f"({max(0.0, change.low):.0f} to {change.high:.0f}), {how}, since about "
        f"{_between(change, today)}."
    )
    if reed.state is ReedState.PERHAPS_FLAT:
        text += " Some more days will tell."
    return text


def _between(change: Detuning, today: date) -> str:
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


def reed_watch_data(watch: HarpWatch) -> ReedWatchData:
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


def _change_data(change: Detuning) -> ReedChangeData:
    return {
        "since": change.since.isoformat(),
        "earliest": change.earliest.isoformat(),
        "latest": change.latest.isoformat(),
        "cents_flat": round(change.cents, 2),
        "low": round(change.low, 2),
        "high": round(change.high, 2),
        "cents_a_month": None
        if change.cents_per_month is None
        else round(change.cents_per_month, 2),
        "standard_errors": round(change.z_score, 2),
    }


def _signed(off: float) -> str:
    """Cents to a tenth, with their sign; 0 has none."""
    tenth = round(off, 1)
    return f"{tenth:+.1f}" if tenth else "0.0"


def _filled(text: str) -> str:
    return textwrap.fill(text, WIDTH)
