"""The measurement of a player's own harp as lines of text."""

from __future__ import annotations

from trainer.harp import Harp
from trainer.practice import (
    AttackMeasured,
    Event,
    HarpMeasured,
    MeasurementEvent,
    Notice,
    PassStarted,
    ReedRequested,
    ReedSounding,
    RepeatRequested,
    TakeFailed,
    TakePaused,
    TakeResumed,
)
from trainer.report.formatting import fill, signed_cents_text

BREATHING_ADVICE = (
    "Breathe as for a quiet tune: blown hard, a reed sounds flat. Rest whenever you like, and stop "
    "if you feel light-headed."
)


def measuring_intro(harp: Harp) -> str:
    """Return the instructions before a harp is measured."""
    return fill(
        f"Measuring a {harp.name} harp: play each requested note, one hole alone, for two "
        f"seconds. Play another hole to measure that one first, or again. {BREATHING_ADVICE} "
        "Ctrl-C ends it and keeps the measured reeds."
    )


def measuring_line(
    event: Event | MeasurementEvent, harp: Harp, *, guided: bool = True
) -> str | None:
    """Return the line for an event of the measurement; None for most.

    Args:
        event: the event.
        harp: the harp that is measured.
        guided: whether a player follows the requests; False for a recording.
    """
    match event:
        case PassStarted(source=source):
            return f"Listening to {source}."
        case ReedRequested(tab, note, done, of):
            return f"note {done + 1} of {of}: play {tab} ({tab.breath} {tab.hole}, {note})"
        case AttackMeasured(tab=tab):
            return _attack_line(event, harp.note(tab), guided)
        case RepeatRequested(sentence) | Notice(sentence):
            return f"     {sentence}"
        case TakePaused(sentence):
            return f"Paused: {sentence}"
        case TakeResumed():
            return "The microphone is back."
        case TakeFailed(sentence):
            return f"Stopped: {sentence}"
    return None


def _attack_line(attack: AttackMeasured, note: str, guided: bool) -> str:
    line = f"     {attack.tab}, {note}: {attack.hz:.2f} Hz, {signed_cents_text(attack.cents)} cents"
    if attack.asked or not guided:
        return line
    twin = "" if attack.twin is None else f" ({attack.twin} sounds the same)"
    return f"{line}; you played {attack.tab}{twin}"


def sounding_text(event: ReedSounding) -> str:
    """Return the reed that sounds now, its offset, and for how long it has sounded."""
    if event.tab is None or event.cents is None:
        return f"no natural note of this harp  {event.seconds:4.1f} s"
    return f"{event.tab} {event.cents:+6.1f} cents  {event.seconds:4.1f} s"


def measuring_summary(event: HarpMeasured) -> str:
    """Return how many reeds were measured and which are missing."""
    count = len(event.reeds)
    if not event.missing:
        return f"All {count} reeds are measured."
    missing = ", ".join(str(tab) for tab in event.missing)
    return fill(
        f"{count} of {count + len(event.missing)} reeds are measured; missing: {missing}. Measure "
        "again under the same name to add them."
    )
