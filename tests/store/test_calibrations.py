"""Which calibrated latency applies to a pair of devices."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.support.sound_system import stand_in
from trainer.sound import MicrophoneSpec
from trainer.sound.round_trip import DevicePair, RoundTrip
from trainer.store import (
    Calibration,
    Journal,
    find_calibration,
    save_manual_latency,
    save_round_trip,
    with_calibrated_latency,
)

WHEN = datetime(2024, 5, 14, 18, tzinfo=UTC)
PAIR = DevicePair("usb mic", "hall", 48_000)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal(tmp_path / "journal.sqlite") as opened:
        yield opened


def keep(journal: Journal, ms: float, **changes: Any) -> Calibration:
    calibration = Calibration("usb mic", "hall", 48_000, ms, 0.3, WHEN)
    calibration = replace(calibration, **changes)
    journal.add_calibration(calibration)
    return calibration


def test_the_last_of_the_pair_and_rate(journal: Journal) -> None:
    keep(journal, 30.0)
    last = keep(journal, 40.0, measured=WHEN + timedelta(days=1))
    keep(journal, 50.0, output="headphones", measured=WHEN + timedelta(days=2))
    other = keep(journal, 60.0, rate=44_100, measured=WHEN + timedelta(days=3))
    assert find_calibration(journal, "usb mic", "hall", 48_000) == last
    assert find_calibration(journal, "usb mic", "hall") == other
    assert find_calibration(journal, "usb mic", "hall", 96_000) is None
    assert find_calibration(journal, "usb", "hall", 48_000) is None


def test_a_latency_given_by_hand_counts_until_it_is_measured(journal: Journal) -> None:
    keep(journal, 30.0)
    given = save_manual_latency(journal, PAIR, 42.0)
    assert (given.by_hand, given.spread_ms) == (True, 0.0)
    assert find_calibration(journal, "usb mic", "hall", 48_000) == given
    measured = save_round_trip(journal, PAIR, RoundTrip(37.5, 0.2, 12, 12))
    assert not measured.by_hand
    assert find_calibration(journal, "usb mic", "hall", 48_000) == measured


def test_a_microphone_gets_it_unless_it_names_one_itself(
    journal: Journal, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", stand_in())
    keep(journal, 37.5)
    spec = MicrophoneSpec(device="usb", output="ha")
    assert with_calibrated_latency(journal, spec).latency_ms == 37.5
    assert with_calibrated_latency(journal, replace(spec, latency_ms=3.0)).latency_ms == 3.0
    assert with_calibrated_latency(journal, replace(spec, output="head")).latency_ms is None
    assert with_calibrated_latency(journal, replace(spec, device="none")).latency_ms is None
