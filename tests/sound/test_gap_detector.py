"""A computer that sleeps: its clock goes on, and the count of samples does not."""

from __future__ import annotations

import pytest

from trainer.sound.sources import microphone
from trainer.sound.sources.microphone import GapDetector


def test_only_what_is_missing_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    now, captured = 1000.0, 0.0
    monkeypatch.setattr(microphone, "elapsed_s", lambda: now)
    detector = GapDetector()
    assert detector.observe(captured) == 0.0
    for _ in range(50):  # a card whose clock is 100 ppm slow, in uneven bursts
        now, captured = now + 0.01, captured + 0.01 * 0.9999
        assert detector.observe(captured) == pytest.approx(0.0, abs=1e-5)
    now += 35.0
    assert detector.observe(captured) == pytest.approx(35.0)
    now, captured = now + 4.0, captured + 4.0  # the ear was busy, and the callback was not
    assert detector.observe(captured) == pytest.approx(0.0)
