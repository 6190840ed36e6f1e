"""The wear of a harp's reeds over time as text and JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from trainer.core.quantities import quantity_text
from trainer.harp import Harp
from trainer.reedcare import REED_WATCH, Detuning, HarpWatch, ReedHistory, ReedState, nominal_harp
from trainer.report.formatting import day_text, fill, signed_cents_text
from trainer.report.schemas.harps import ReedChangeData, ReedWatchData

RECENT_DAYS = 5
"""Number of days whose median is shown as the present offset of a reed."""


def reed_watch_text(watch: HarpWatch, today: date) -> str:
    """Return what has changed on a harp, and a line for each reed."""
    own = watch.harp
    if watch.first is None or watch.last is None:
        return f"{own.name} was not heard yet"
    return "\n".join(
        [
            f"{own.name}: {quantity_text(watch.notes, 'note')} on "
            f"{quantity_text(watch.days, 'day')}, "
            f"{day_text(watch.first, today)} to {day_text(watch.last, today)}",
            *fill(reed_verdict_text(watch, today)).splitlines(),
            *_histories(watch, today),
        ]
    )


def _histories(watch: HarpWatch, today: date) -> Iterator[str]:
    known = [reed for reed in watch.reeds if reed.state is not ReedState.TOO_FEW]
    too_few = [reed for reed in watch.reeds if reed.state is ReedState.TOO_FEW]
    if known:
        yield ""
        yield f"{'reed':<7}{'note':<7}{'days':>5}{'notes':>7}  {'now':>6}  {'noise':>6}  state"
        harp = nominal_harp(watch.harp)
        yield from (_history_line(reed, harp, today) for reed in known)
        yield ""
        yield fill(
            "Cents relative to the other reeds of the same day, from the reed's earlier offset. "
            "What moves all reeds alike, such as a cold room, does not count."
        )
    if too_few:
        reeds = ", ".join(f"{reed.tab} ({len(reed.days)})" for reed in too_few)
        yield fill(f"Heard on fewer than {REED_WATCH.min_days} days: {reeds}.")


def reed_watches_text(watches: Sequence[HarpWatch], today: date) -> str:
    """Return a sentence or two on the reeds of each harp."""
    return "\n".join(
        fill(f"{watch.harp.name}: {reed_verdict_text(watch, today)}") for watch in watches
    )


def reed_verdict_text(watch: HarpWatch, today: date) -> str:
    """Return which reeds of a harp have gone flat, in a sentence or two."""
    changed = [reed for reed in watch.reeds if reed.change is not None]
    if changed:
        sentences = " ".join(_change_text(reed, today) for reed in changed)
        is_flat = any(reed.state is ReedState.FLAT for reed in changed)
        return f"{sentences} Measure the harp again to be sure." if is_flat else sentences
    steady = sum(reed.state is ReedState.STEADY for reed in watch.reeds)
    if not steady:
        return "Too few days so far to say anything; play on it and look again."
    return f"No reed has gone flat against the others, of {steady} with enough days."


def _change_text(reed: ReedHistory, today: date) -> str:
    change = reed.change
    assert change is not None
    verb = "has gone flat" if reed.state is ReedState.FLAT else "may be going flat"
    monthly = change.cents_per_month
    rate = "at once" if monthly is None else f"by {monthly:.1f} cents a month"
    text = (
        f"{reed.tab} {verb} against the others: by {quantity_text(round(change.cents), 'cent')} "
        f"({max(0.0, change.low):.0f} to {change.high:.0f}), {rate}, since about "
        f"{_since_text(change, today)}."
    )
    if reed.state is ReedState.PERHAPS_FLAT:
        text += " A few more days will show."
    return text


def _since_text(change: Detuning, today: date) -> str:
    """Return the day of a change, with the range of its probable days."""
    if change.earliest == change.latest:
        return day_text(change.since, today)
    return (
        f"{day_text(change.since, today)} ({day_text(change.earliest, today)} to "
        f"{day_text(change.latest, today)})"
    )


def _history_line(reed: ReedHistory, harp: Harp, today: date) -> str:
    now = signed_cents_text(-reed.change.cents if reed.change else _recent_offset(reed))
    state = reed.state.value
    if reed.change is not None:
        state += f" since {day_text(reed.change.since, today)}"
    return (
        f"{reed.tab!s:<7}{harp.note(reed.tab):<7}{len(reed.days):>5}{sum(reed.notes):>7}  "
        f"{now:>6}  {reed.noise:>6.1f}  {state}"
    )


def _recent_offset(reed: ReedHistory) -> float:
    """Return the upper median of the last days in cents; 0 without days."""
    recent = sorted(reed.cents[-RECENT_DAYS:])
    return recent[len(recent) // 2] if recent else 0.0


def reed_watch_data(watch: HarpWatch) -> ReedWatchData:
    """Return the wear of a harp's reeds as JSON data; cents to 0.01."""
    return {
        "name": watch.harp.name,
        "days": watch.days,
        "notes": watch.notes,
        "reeds": [
            {
                "tab": str(reed.tab),
                "state": reed.state.value,
                "noise_cents": round(reed.noise, 2),
                "change": None if reed.change is None else _change_data(reed.change),
                "history": [
                    {"day": day.isoformat(), "cents": round(cents, 2), "notes": notes}
                    for day, cents, notes in zip(reed.days, reed.cents, reed.notes, strict=True)
                ],
            }
            for reed in watch.reeds
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
