"""A player's own harps: their list, and the tuning of each, as text and JSON data."""

from __future__ import annotations

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
from trainer.reedcare import measured_pitches, nominal_harp
from trainer.report.formatting import day_text, fill, signed_cents_text
from trainer.report.schemas.harps import OwnHarpData, OwnHarpSummaryData
from trainer.store import OwnHarp

MEASURING_ADVICE = (
    "The pitch of a reed varies by some cents with breath and warmth: measure at a moderate "
    "breath, on a harp as warm as when you play."
)


def own_harps_text(harps: Sequence[OwnHarp], today: date) -> str:
    """Return the player's harps, a line each."""
    if not harps:
        return "no measured harps; 'trainer harp measure NAME --harp KEY' measures one"
    width = max(len(own.name) for own in harps)
    return "\n".join(_harp_line(own, width, today) for own in harps)


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
    """Return the player's harps as JSON data."""
    return [
        {
            "name": own.name,
            "player": own.player,
            "key": own.tag.key,
            "tuning": own.tag.tuning,
            "a4": round(overall_a4_hz(nominal_harp(own), measured_pitches(own)), 3),
            "reeds": len(own.reeds),
            "measured": own.measured.isoformat(),
        }
        for own in harps
    ]


def own_harp_text(own: OwnHarp, temperament: str | None, today: date) -> str:
    """Return how a harp is tuned, reed by reed."""
    harp, reeds = nominal_harp(own, temperament), measured_pitches(own)
    return "\n".join(
        [
            *_own_head(own, harp, today),
            "",
            *_reed_lines(own, harp),
            *_octave_lines(octave_pairs(harp, reeds)),
            "",
            fill(MEASURING_ADVICE),
        ]
    )


def _own_head(own: OwnHarp, harp: Harp, today: date) -> Iterator[str]:
    reeds = measured_pitches(own)
    a4 = overall_a4_hz(harp, reeds)
    nearest, distance = nearest_temperament(harp, reeds)
    yield f"{own.name}: {harp.name} harp, measured {day_text(_day(own), today)}"
    offset = _offset_text(cents(a4, harp.a4))
    yield f"As a whole {offset} A4 = {harp.a4:g} Hz: its own A4 is {a4:.2f} Hz."
    yield f"Nearest temperament: {nearest}, {distance:.1f} cents away on average."


def _reed_lines(own: OwnHarp, harp: Harp) -> Iterator[str]:
    spread = {reed.tab: reed.spread_cents for reed in own.reeds}
    equal = f"equal {harp.a4:g}"
    yield f"{'':<12}{'':>10}{'cents from':>12}{'in itself,':>13}{'beside its':>13}"
    yield (
        f"{'reed':<6}{'note':<6}{'Hz':>10}{equal:>12}{harp.temperament.name:>13}"
        f"{'neighbours':>13}{'spread':>10}"
    )
    for reed in reed_tunings(harp, measured_pitches(own)):
        neighbours = reed.from_neighbours_cents
        columns = (
            signed_cents_text(reed.from_equal_cents),
            signed_cents_text(reed.from_temperament_cents),
            "" if neighbours is None else signed_cents_text(neighbours),
        )
        yield (
            f"{reed.tab!s:<6}{harp.note(reed.tab):<6}{reed.hz:>10.2f}{columns[0]:>12}"
            f"{columns[1]:>13}{columns[2]:>13}{spread[str(reed.tab)]:>10.1f}"
        )


def _octave_lines(pairs: Sequence[OctavePair]) -> Iterator[str]:
    if not pairs:
        return
    yield ""
    yield "octaves     beats a second"
    for pair in pairs:
        direction = "wide" if pair.cents > 0 else "narrow"
        yield (
            f"{f'{pair.low} and {pair.high}':<12}{pair.beats_hz:>8.2f}   "
            f"{abs(pair.cents):.1f} cents {direction}"
        )


def own_harp_data(own: OwnHarp, temperament: str | None) -> OwnHarpData:
    """Return how a harp is tuned as JSON data; cents to 0.01, hertz to 0.001."""
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
                "tab": str(reed.tab),
                "note": harp.note(reed.tab),
                "hz": round(reed.hz, 3),
                "cents_equal": round(reed.from_equal_cents, 2),
                "cents_in_itself": round(reed.from_temperament_cents, 2),
                "cents_beside": None
                if reed.from_neighbours_cents is None
                else round(reed.from_neighbours_cents, 2),
                "spread_cents": round(spread[str(reed.tab)], 2),
            }
            for reed in reed_tunings(harp, reeds)
        ],
        "measured": own.measured.isoformat(),
        "temperament": harp.temperament.name,
        "nearest_temperament": nearest,
        "nearest_within_cents": round(within, 2),
        "octaves": [
            {
                "low": str(pair.low),
                "high": str(pair.high),
                "beats_hz": round(pair.beats_hz, 3),
                "cents": round(pair.cents, 2),
            }
            for pair in octave_pairs(harp, reeds)
        ],
    }


def _offset_text(offset: float) -> str:
    """Return an offset in cents as words that go before a reference pitch."""
    if abs(offset) < 0.05:
        return "exactly at"
    return f"{abs(offset):.1f} cents {'sharp' if offset > 0 else 'flat'} of"


def _day(own: OwnHarp) -> date:
    """Return the local date of measurement."""
    return own.measured.astimezone().date()
