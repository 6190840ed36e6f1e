"""The natural voice: what pressure, attack and bend do to a reed, and what they leave alone."""

from __future__ import annotations

import numpy as np
import pytest

from tests.sound.test_performance import Played
from trainer.harp import Harp, Tab
from trainer.sound import Fault, PlayerSpec, VoiceKind
from trainer.sound.performer.harp_reeds import HarpReeds
from trainer.sound.performer.natural_reed import NaturalReed, load_table
from trainer.sound.performer.voice import Blowing

NATURAL = PlayerSpec(voice=VoiceKind.NATURAL)
RATE = 48_000


def reed(tab: str) -> NaturalReed:
    made = HarpReeds(Harp.of("C"), VoiceKind.NATURAL, RATE, 1).note(Tab.parse(tab))
    assert isinstance(made, NaturalReed)
    return made


def spectrum(voice: NaturalReed, cents: float = 0.0, db: float = 0.0) -> np.ndarray:
    """Levels in dB of the partials of a reed at a pitch and a loudness."""
    n = np.ones(4096)
    cycles = np.arange(4096) / 512.0
    wave = voice.wave(Blowing(cycles, cents * n, n, db * n, None))
    levels = np.abs(np.fft.rfft(wave))[8::8] * np.sqrt(2.0) / 4096
    return np.asarray(20.0 * np.log10(levels + 1e-9))


@pytest.mark.parametrize(("text", "cents"), [("2:4", 0.0), ("-3'@+12.5:4", 12.5), ("6o:4", 0.0)])
def test_a_note_that_has_spoken_is_held_where_it_was_asked_to_be(text: str, cents: float) -> None:
    tab = text.split("@", maxsplit=1)[0].split(":", maxsplit=1)[0]
    track, _ = Played(text, spec=NATURAL).cents(tab, 0, 0.1, 0.9)
    assert np.mean(track) == pytest.approx(cents, abs=0.1)
    assert np.std(track) < 1.5


def test_a_reed_speaks_flat_and_glides_to_its_pitch() -> None:
    track, times = Played("4:4", spec=NATURAL).cents("4", 0, 0.0, 0.1)
    seconds = 4.0 * times
    assert -80.0 < np.interp(0.02, seconds, track) < -20.0
    assert abs(np.interp(0.2, seconds, track)) < 2.0


def test_hard_blowing_makes_a_reed_bright_flat_and_quick() -> None:
    voice = reed("4")
    loud, soft = spectrum(voice, db=6.0), spectrum(voice, db=-12.0)
    assert np.mean((loud - soft)[2:8]) > 3.0
    assert voice.attack(5.0) < voice.attack(0.0) < voice.attack(-6.0)
    age = np.full(1, float(RATE))
    pulled = [voice.pull(age, np.full(1, db)) for db in (-6.0, 0.0, 6.0)]
    assert [float(pull[0]) for pull in pulled if pull is not None] == sorted(
        (float(pull[0]) for pull in pulled if pull is not None), reverse=True
    )
    assert voice.pull(age, None) is None  # an ordinary note is where it should be


def test_a_bend_passes_to_the_other_reed_and_changes_the_colour() -> None:
    plain, bent = spectrum(reed("-3")), spectrum(reed("-3"), cents=-200.0)
    assert np.max(np.abs(plain - bent)[:8]) > 3.0
    assert np.array_equal(spectrum(reed("3")), spectrum(reed("3"), cents=-5.0))  # it cannot bend


def test_each_period_has_unit_rms_and_no_partial_above_the_band() -> None:
    for tab in ("1", "-3", "10"):
        rms = np.sqrt(np.mean(reed(tab).timbre.open[..., :-1].astype(float) ** 2, axis=-1))
        assert rms == pytest.approx(np.ones_like(rms), abs=1e-3)
    highest = spectrum(reed("10"))
    assert highest[round(0.45 * RATE / 2093.0) :].max() < -60.0


def test_a_leak_has_the_level_asked() -> None:
    played = Played("-4:4", {0: Fault(leak_db=-12.0)}, spec=NATURAL)
    assert np.std(played.cut(0, 0.3, 0.9)) == pytest.approx(
        0.1 * np.sqrt(1.0 + 10.0**-1.2), rel=0.05
    )


def test_the_table_covers_all_harps_with_even_steps() -> None:
    table = load_table()
    assert table.hz[0] < 100.0
    assert table.hz[-1] > 2_900.0
    assert np.all(np.diff(table.hz) > 0)
    ordinary = list(table.level_db).index(0.0)
    assert np.all(table.sag_cents[:, ordinary] == 0.0)
    assert np.all(table.bent_db[:, 0] == 0.0)
    assert np.all(np.diff(table.rise_ms, axis=1) <= 0.0)
