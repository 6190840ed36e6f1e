"""The guess of a harp's A4 from four notes, for harps whose A4 and temperament are known."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.harp import Harp, Tab, a4_guess_notes, guess_a4
from trainer.music import TEMPERAMENTS

A4 = st.integers(440, 444).map(float)


def played(harp: Harp, *flat_cents: float) -> dict[Tab, float]:
    """The four notes in hertz, the first ones pulled flat."""
    notes = a4_guess_notes(harp)
    flat = [*flat_cents, *[0.0] * (len(notes) - len(flat_cents))]
    return {
        tab: harp.hz(tab) * 2.0 ** (-cents / 1200.0) for tab, cents in zip(notes, flat, strict=True)
    }


def test_the_notes_are_tonic_fifths_and_second() -> None:
    """5 blow, 3 draw and 6 draw, which just intonation moves most, are not among them."""
    assert [str(tab) for tab in a4_guess_notes(Harp.of("C"))] == ["3", "4", "-4", "6"]


@pytest.mark.parametrize("temperament", TEMPERAMENTS)
@settings(max_examples=10)
@given(a4=A4, key=st.sampled_from(["G", "C", "F#", "low F"]))
def test_the_temperament_does_not_matter(temperament: str, a4: float, key: str) -> None:
    harp = Harp.of(key, a4=a4, temperament_name=temperament)
    assert guess_a4(Harp.of(key), played(harp)).a4 == a4


@settings(max_examples=40)
@given(
    a4=A4,
    temperament=st.sampled_from(list(TEMPERAMENTS)),
    flat=st.tuples(st.floats(0.0, 40.0), st.floats(0.0, 40.0)),
    order=st.permutations(range(4)),
)
def test_two_notes_pulled_flat_do_not_matter(
    a4: float, temperament: str, flat: tuple[float, float], order: list[int]
) -> None:
    """Of two good notes the guess is at most 1 Hz off: just degrees differ by up to 4 cents."""
    harp = Harp.of("C", a4=a4, temperament_name=temperament)
    by_note = dict(zip(order, (*flat, 0.0, 0.0), strict=True))
    guess = guess_a4(Harp.of("C"), played(harp, *(by_note[i] for i in range(4))))
    assert guess.a4 is not None
    assert abs(guess.a4 - a4) <= 1.0


def test_a_sharp_reed_does_not_matter() -> None:
    harp = Harp.of("C", a4=441.0)
    assert guess_a4(Harp.of("C"), played(harp, -12.0)).a4 == 441.0


def test_nothing_is_proposed_where_notes_disagree_or_lie_far_off() -> None:
    scattered = guess_a4(Harp.of("C"), played(Harp.of("C"), 0.0, 12.0, 24.0, 36.0))
    assert (scattered.a4, scattered.agrees) == (None, False)
    for a4 in (435.0, 450.0):
        far = guess_a4(Harp.of("C"), played(Harp.of("C", a4=a4)))
        assert (far.a4, far.agrees) == (None, True)
        assert (far.offset_cents > 0.0) == (a4 > 440.0)
