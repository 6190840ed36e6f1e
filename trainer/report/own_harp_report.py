"""A player's own harps: a list of them, and the tuning of one, as text and JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date

from trainer.harp import (
    Harp,
    HarpError,
    OctavePair,
    nearest_temperament,
    octave_pairs,
    overall_a4_hz,
    reed_tunings,
)
from trainer.music import cents
from trainer.reedcare.own_harps import measured_pitches, nominal_harp
from trainer.report.formatting import day_text
from trainer.report.schemas.harps import OwnHarpData, OwnHarpSummaryData
from trainer.store import OwnHarp

WIDTH = 80
"""Maximum line length in columns."""
MEASURING_ADVICE = (
    "A reed sounds some cents differently by breath and warmth: measure at a moderate breath, on a "
    "harp as warm as it is when you play."
)


def own_harps_text(harps: Sequence[OwnHarp], today: date) -> str:
    """The player's harps, a line each."""
    if not harps:
        return (
            "no harp of your own was measured yet; 'trainer harp measure NAME --harp KEY' does that"
        )
    width = max(len(one.name) for one in harps)
    return "\n".join(_harp_line(one, width, today) for one in harps)


def _harp_line(own: OwnHarp, width: int, today: date) -> str:
    try:
        harp = nominal_harp(own)
    except HarpError as error:
        return f"{own.name:<{width}}  {error}"
    a4 = overall_a4_hz(harp, measured_pitches(own))
    return (
        f"{own.name:<{width}}  {harp.name}, A4 = {a4:.1f} Hz, {len(own.reeds)} reeds measured "
        f"{day_text(_day(own), today)}"
    )


def own_harps_data(harps: Sequence[OwnHarp]) -> list[OwnHarpSummaryData]:
    """The player's harps as plain data."""
    return [
        {
            "name": one.name,
            "player": one.player,
            "key": one.tag.key,
            "tuning": one.tag.tuning,
            "a4": round(overall_a4_hz(nominal_harp(one), measured_pitches(one)), 3),
            "reeds": len(one.reeds),
            "measured": one.measured.isoformat(),
        }
        for one in harps
    ]


def own_harp_text(own: OwnHarp, temperament: str | None, today: date) -> str:
    """How a harp is tuned, reed by reed."""
    harp, reeds = nominal_harp(own, temperament), measured_pitches(own)
    return "\n".join(
        [
            *_own_head(own, harp, today),
            "",
            *_reed_lines(own, harp),
            *_octave_lines(octave_pairs(harp, reeds)),
            "",
            *textwrap.wrap(MEASURING_ADVICE, WIDTH),
        ]
    )


def _own_head(own: OwnHarp, harp: Harp, today: date) -> Iterator[str]:
    reeds = measured_pitches(own)
    a4 = overall_a4_hz(harp, reeds)
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
    for one in reed_tunings(harp, measured_pitches(own)):
        beside = "" if one.from_neighbours_cents is None else _signed(one.from_neighbours_cents)
        yield (
            f"{one.tab!s:<6}{harp.note(one.tab):<6}{one.hz:>10.2f}{_signed(one.from_equal_cents):>12}"
            f"{_signed(one.from_temperament_cents):>13}{beside:>13}{spread[str(one.tab)]:>10.1f}"
        )


def _octave_lines(found: Sequence[OctavePair]) -> Iterator[str]:
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


def own_harp_data(own: OwnHarp, temperament: str | None) -> OwnHarpData:
    """How a harp is tuned, as plain data; cents to 0.01, Hz to 0.001."""
    harp, reeds = nominal_harp(own, temperament), measured_pitches(own)
    spread = {reed.tab: reed.spread_cents for reed in own.reeds}
    nearest, within = nearest_temperament(harp, reeds)
    return {
        "name": own.name,
        "player": own.player,
        "key": own.tag.key,
        "tuning": own.tag.tuning,
        "a4": round(overall_a4_hz(harp, reeds), 3),
        "reeds": [
            {
                "tab": str(one.tab),
                "note": harp.note(one.tab),
                "hz": round(one.hz, 3),
                "cents_equal": round(one.from_equal_cents, 2),
                "cents_in_itself": round(one.from_temperament_cents, 2),
                "cents_beside": None
                if one.from_neighbours_cents is None
                else round(one.from_neighbours_cents, 2),
                "spread_cents": round(spread[str(one.tab)], 2),
            }
            for one in reed_tunings(harp, reeds)
        ],
        "measured": own.measured.isoformat(),
        "temperament": harp.temperament.name,
        "nearest_temperament": nearest,
        "nearest_within_cents": round(within, 2),
        "octaves": [
            {
                "low": str(one.low),
                "high": str(one.high),
                "beats_hz": round(one.beats_hz, 3),
                "cents": round(one.cents, 2),
            }
            for one in octave_pairs(harp, reeds)
        ],
    }


def _off_text(off: float) -> str:
    if abs(off) < 0.05:
        return "right on"
    return f"{abs(off):.1f} cents {'sharp' if off > 0 else 'flat'} of"


def _day(own: OwnHarp) -> date:
    return own.measured.astimezone().date()


def _signed(off: float) -> str:
    """Cents to a tenth, with their sign; 0 has none."""
    tenth = round(off, 1)
    return f"{tenth:+.1f}" if tenth else "0.0"
