"""The measurement of a player's own harp as lines of text."""

from __future__ import annotations

import textwrap

from trainer.harp import Harp
from trainer.practice import Event, Notice, PassStarted, TakeFailed, TakePaused, TakeResumed
from trainer.practice.harp_measurement import (
    AttackMeasured,
    HarpMeasured,
    MeasurementEvent,
    ReedRequested,
    ReedSounding,
    RepeatRequested,
)

WIDTH = 80
"""Maximum line length in columns."""
BREATHING_ADVICE = (
    "Breathe as for a quiet tune: blown hard, a reed sounds flat. Rest whenever you like, and stop "
    "if you feel light-headed."
)


def measuring_intro(harp: Harp) -> str:
    """What a player is told before a harp is measured."""
    return _filled(
        f"Measuring a {harp.name} harp: play the note that is asked for, one hole alone, for two "
        f"seconds. Play another hole to measure that one first, or anew. {BREATHING_ADVICE} "
        "Ctrl-C ends it, and keeps what is measured."
    )


def measuring_line(
    event: Event | MeasurementEvent, harp: Harp, *, guided: bool = True
) -> str | None:
    """The line that an event of measuring is worth; None for most.

    Args:
        event: what happened.
        harp: what is measured.
        guided: whether somebody plays what is asked for, and does not read a recording.
    """
    match event:
        case PassStarted(source=source):
            return f"Listening to {source}."
        case ReedRequested(tab, note, done, of):
            return f"{done + 1:>3} of {of}: play {tab} ({tab.breath} {tab.hole}, {note})"
        case AttackMeasured(tab=tab):
            return _attack_line(event, harp.note(tab), guided)
        case RepeatRequested(sentence) | Notice(sentence):
            return f"     {sentence}"
        case TakePaused(sentence):
            return f"Paused: {sentence}"
        case TakeResumed():
            return "The sound is back."
        case TakeFailed(sentence):
            return f"Stopped: {sentence}"
    return None


def _attack_line(one: AttackMeasured, note: str, guided: bool) -> str:
    heard = f"     {one.tab}, {note}: {one.hz:.2f} Hz, {one.cents:+.1f} cents"
    if one.asked or not guided:
        return heard
    alike = "" if one.twin is None else f" ({one.twin} sounds alike)"
    return f"{heard}; you played {one.tab}{alike}"


def sounding_text(event: ReedSounding) -> str:
    """What is heard just now, in a few words."""
    if event.tab is None or event.cents is None:
        return f"no natural note of this harp  {event.seconds:4.1f} s"
    return f"{event.tab} {event.cents:+6.1f} cents  {event.seconds:4.1f} s"


def measuring_summary(event: HarpMeasured) -> str:
    """What came of measuring."""
    count = len(event.reeds)
    if not event.missing:
        return f"All {count} reeds are measured."
    missing = ", ".join(str(tab) for tab in event.missing)
    return _filled(
        f"{count} of {count + len(event.missing)} reeds are measured; missing: {missing}. Measure "
        "again under the same name to add them."
    )


def _filled(text: str) -> str:
    return textwrap.fill(text, WIDTH)
