"""A muted microphone, by readings of digital silence."""

from __future__ import annotations

from trainer.ear import Reading
from trainer.practice.events import Notice
from trainer.practice.mute_detector import MuteDetector

RATE = 48_000
MUTED = "the microphone is silent; is it muted or unplugged?"
AGAIN = "the microphone is back"


class Watched:
    """A detector with a clock of readings, one in 5 ms."""

    def __init__(self) -> None:
        self.detector = MuteDetector()
        self.now_s = 0.0

    def hear(self, seconds: float, level_db: float) -> list[tuple[float, Notice]]:
        """Notices with the seconds after which they came."""
        notices = []
        for i in range(round(seconds / 0.005)):
            self.now_s += 0.005
            sample = round(self.now_s * RATE)
            notice = self.detector.detect(Reading(sample, sample, RATE, level_db=level_db))
            if notice is not None:
                notices.append((round((i + 1) * 0.005, 3), notice))
        return notices


def test_silence_is_reported_once_and_so_is_its_end() -> None:
    watched = Watched()
    assert watched.hear(1.0, -60.0) == []
    assert watched.hear(3.0, -150.0) == [(0.405, Notice(MUTED))]
    assert watched.hear(1.0, -60.0) == [(0.005, Notice(AGAIN))]


def test_a_quiet_room_is_no_silence_and_a_short_silence_is_none() -> None:
    watched = Watched()
    assert watched.hear(2.0, -110.0) == []
    for _ in range(5):
        assert watched.hear(0.395, -150.0) == []
        assert watched.hear(0.005, -119.0) == []
    assert watched.hear(0.395, -120.0) == []  # the level of nothing
    assert len(watched.hear(0.02, -120.0)) == 1


def test_nothing_is_reported_before_anything_was_heard() -> None:
    assert Watched().hear(5.0, -150.0) == []


def test_after_a_silence_that_ended_twice_as_long_a_one_is_reported() -> None:
    """Some microphones have a gate between notes."""
    watched = Watched()
    watched.hear(1.0, -30.0)
    watched.hear(1.0, -150.0)
    watched.hear(1.0, -30.0)
    assert watched.hear(2.0, -150.0) == []
    watched.hear(1.0, -30.0)
    ((seconds, notice),) = watched.hear(4.0, -150.0)
    assert notice == Notice(MUTED)
    assert seconds == 2.015  # more than twice the 1.005 s of the first
