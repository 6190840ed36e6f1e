"""Passages of a recording, the search for a second player, and the warnings of a transcript."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from trainer.core.types import Floats
from trainer.harp import Harp, Tab
from trainer.transcript import Meter, TranscribedNote, TranscriptError, TranscriptRequest
from trainer.transcript.request import hear_passage, resample_passage
from trainer.transcript.tones import Tone
from trainer.transcript.transcription import _has_other_sound, _Playing, _warnings
from trainer.transcript.two_parts import PartAssignment, ToneGroup

C, RATE = Harp.of("C"), 24_000
GOOD = Meter(100.0, (4, 4), (0.0, 0.6, 1.2))


def reed(tab: str, seconds: float) -> Floats:
    t = np.arange(round(seconds * RATE)) / RATE
    f0 = C.hz(Tab.parse(tab))
    partials = [np.sin(2 * np.pi * k * f0 * t + k) / k for k in range(1, int(9000 / f0))]
    return np.asarray(0.1 * np.sum(partials, axis=0))


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Blow 4, 5, 6 and 7 for 0.5 s each from seconds 0.5, 1.5, 2.5 and 3.5."""
    sound = np.zeros(round(4.5 * RATE))
    for i, tab in enumerate(("4", "5", "6", "7")):
        start = round((0.5 + i) * RATE)
        sound[start : start + RATE // 2] = reed(tab, 0.5)
    path = tmp_path_factory.mktemp("passage") / "four.wav"
    sf.write(path, sound, RATE, subtype="FLOAT")
    return path


@pytest.mark.parametrize(
    ("first", "last", "tabs"),
    [(0.0, None, "4567"), (1.2, None, "567"), (0.0, 2.2, "45"), (1.2, 3.2, "56")],
)
def test_a_passage_has_its_notes_at_their_times(
    recording: Path, first: float, last: float | None, tabs: str
) -> None:
    notes = hear_passage(TranscriptRequest(recording, first=first, last=last), C)
    assert [str(note.tab) for note in notes] == list(tabs)
    for note in notes:
        assert note.start == pytest.approx((0.5 + int(str(note.tab)) - 4) * RATE, abs=0.012 * RATE)


def test_a_passage_is_silent_before_its_start_and_ends_at_its_end(recording: Path) -> None:
    samples, rate, source_rate = resample_passage(TranscriptRequest(recording, first=1.7, last=2.7))
    assert source_rate == RATE
    assert len(samples) / rate == pytest.approx(2.7, abs=0.01)
    assert not np.any(samples[: round(1.69 * rate)])
    assert np.any(samples[round(1.71 * rate) :])


def test_a_passage_after_the_end_or_without_a_note_is_refused(recording: Path) -> None:
    with pytest.raises(TranscriptError, match=r"four\.wav is 4\.5 s long"):
        hear_passage(TranscriptRequest(recording, first=4.6), C)
    with pytest.raises(TranscriptError, match=r"no note is heard in four\.wav"):
        hear_passage(TranscriptRequest(recording, last=0.4), C)


def test_a_second_player_is_searched_if_a_part_of_the_notes_leaves_much_unexplained() -> None:
    clean, mixed = 0.9999, 0.95
    assert not _has_other_sound([clean] * 10)
    assert not _has_other_sound([clean] * 19 + [mixed])
    assert _has_other_sound([clean] * 8 + [mixed] * 2)
    assert _has_other_sound([mixed] * 10)


def warnings(
    meter: Meter | None = GOOD,
    explained: float = 0.9999,
    reverb_ratio: float = 0.0,
    two: PartAssignment | None = None,
    harps: int | None = None,
) -> str:
    tab = Tab.parse("4")
    notes = [TranscribedNote(0, 1, ((tab,),), 0.0, 500.0, explained=explained)]
    playing = _Playing(C, (), (), (), reverb_ratio, two)
    request = TranscriptRequest(Path("x.wav"), harps=harps)
    return " / ".join(_warnings(request, playing, [notes], meter))


def assignment(second_db: float, left: int) -> PartAssignment:
    at = np.array([0.0, 1.0])

    def group(db: float) -> ToneGroup:
        return ToneGroup((Tone(0, 1, at, at + 500.0, db, 0.0),), (Tab.parse("4"),))

    return PartAssignment((group(-20.0),), (group(second_db),), (group(-30.0),) * left)


def test_a_clean_transcript_has_no_warning() -> None:
    assert warnings() == ""


def test_each_warning_has_its_cause() -> None:
    assert warnings(meter=None) == "too few notes for a beat"
    off_beat = Meter(100.0, (4, 4), (0.0, 0.6, 1.2), near=0.5)
    assert "50% of the notes fall near a beat" in warnings(meter=off_beat)
    assert "other sounds are mixed in: 1 of 1" in warnings(explained=0.3)
    assert "reverberation" in warnings(reverb_ratio=0.2)
    assert warnings(reverb_ratio=0.01) == ""
    assert warnings(harps=2) == "no second harp is heard"
    assert warnings(harps=1) == ""


def test_two_harps_are_announced_with_what_is_uncertain() -> None:
    clear = warnings(two=assignment(-26.0, 0), harps=2)
    assert "two harps sound at once" in clear
    assert "equally loud" not in clear
    assert "left out" not in clear
    for second_db in (-19.0, -21.0):
        assert "equally loud" in warnings(two=assignment(second_db, 0))
    assert "1 sound fits neither part and is left out" in warnings(two=assignment(-26.0, 1))
    assert "3 sounds fit neither part and are left out" in warnings(two=assignment(-26.0, 3))
