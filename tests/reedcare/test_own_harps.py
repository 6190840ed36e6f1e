"""The player's own harps: named, and followed by the targets; the commands that measure them."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from queue import Empty, Queue
from statistics import median
from typing import IO, Any

import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st

from tests.reeds.excerpts import RATE, load, path_of
from tests.support.command_line import Answer, runner
from tests.support.own_harps import tab
from tests.support.pulse import Pulse
from tests.support.waiting import WITHIN_S
from trainer.cli.exit_codes import ExitCode
from trainer.harp import (
    STANDARD_KEYS,
    Breath,
    Harp,
    HarpError,
    Tab,
    natural_entries,
    nearest_temperament,
    octave_pairs,
    overall_a4_hz,
    reed_tunings,
    with_reed_targets,
)
from trainer.music import TEMPERAMENTS, cents
from trainer.reedcare import (
    check_harp_name,
    find_own_harp,
    forget_own_harp,
    list_own_harps,
    measured_harp,
    select_harp,
)
from trainer.report.own_harp_report import own_harp_text
from trainer.settings import Settings
from trainer.store import HarpTag, Journal, JournalError, OwnHarp, ReedRecord

WHEN = datetime(2026, 10, 5, 17, tzinfo=UTC)
C = Harp.of("C")
REEDS = natural_entries(C)
PATIENCE_S = 10.0
"""Time without a line after which what was played was not heard, in seconds."""


def reeds_off(harp: Harp, shift: float = 0.0, **off: float) -> dict[Tab, float]:
    """Reeds of a harp with an overall offset in cents; `b4` is blow 4, `d4` draw 4."""
    breaths = {"b": Breath.BLOW, "d": Breath.DRAW}
    own = {Tab(int(name[1:]), breaths[name[0]]): value for name, value in off.items()}
    return {
        entry: harp.hz(entry) * 2.0 ** ((shift + own.get(entry, 0.0)) / 1200.0)
        for entry in natural_entries(harp)
    }


def kept(
    reeds: Mapping[Tab, float],
    name: str = "quay",
    *,
    player: str = "Runa",
    tag: HarpTag | None = None,
    when: datetime = WHEN,
) -> OwnHarp:
    records = tuple(ReedRecord(str(entry), hz, 0.5) for entry, hz in reeds.items())
    return OwnHarp(player, name, tag or HarpTag("C"), when, records)


class TestTargets:
    def test_a_harp_that_is_sharp_as_a_whole_shifts_the_targets(self) -> None:
        harp = with_reed_targets(
            C, reeds_off(C, 20.0, d5=-30.0, b2=9.0), naturals=False, bends=False
        )
        assert cents(harp.a4, 440.0) == pytest.approx(20.0)
        assert all(
            cents(harp.hz(entry), C.hz(entry)) == pytest.approx(20.0, abs=1e-6)
            for entry in C.entries
        )

    def test_naturals_follow_their_reeds_and_bends_do_not(self) -> None:
        reeds = reeds_off(C, 4.0, d4=-12.0)
        harp = with_reed_targets(C, reeds, naturals=True, bends=False)
        assert all(harp.hz(entry) == pytest.approx(reeds[entry]) for entry in REEDS)
        assert cents(harp.hz(tab("-4'")), C.hz(tab("-4'"))) == pytest.approx(4.0)

    @given(
        st.sampled_from(STANDARD_KEYS),
        st.lists(st.floats(-40.0, 40.0), min_size=20, max_size=20),
    )
    def test_in_equal_temperament_bends_are_whole_half_steps_from_their_reeds(
        self, key: str, off: list[float]
    ) -> None:
        plain = Harp.of(key)
        pairs = zip(natural_entries(plain), off, strict=True)
        reeds = {entry: plain.hz(entry) * 2.0 ** (cents_off / 1200.0) for entry, cents_off in pairs}
        harp = with_reed_targets(plain, reeds, naturals=True, bends=True)
        for entry in harp.entries:
            if entry.over:  # a half step above the higher reed of the hole
                hole = {reeds[Tab(entry.hole, breath)] for breath in Breath}
                assert cents(harp.hz(entry), max(hole)) == pytest.approx(100.0, abs=1e-6)
            else:
                reed = reeds[Tab(entry.hole, entry.breath)]
                assert cents(harp.hz(entry), reed) == pytest.approx(-100.0 * entry.bend, abs=1e-6)

    def test_in_another_temperament_a_bend_keeps_its_interval(self) -> None:
        just = Harp.of("C", temperament_name="just5-bends")
        harp = with_reed_targets(just, reeds_off(just, d3=-10.0), naturals=True, bends=True)
        # B to A on a C harp: 15/8 to 5/3.
        assert harp.hz(tab("-3")) / harp.hz(tab("-3''")) == pytest.approx((15 / 8) / (5 / 3))

    def test_an_unmeasured_reed_follows_the_temperament(self) -> None:
        reeds = reeds_off(C, 10.0, d4=-20.0)
        del reeds[tab("-4")]
        harp = with_reed_targets(C, reeds, naturals=True, bends=True)
        for entry in ("-4", "-4'"):
            assert cents(harp.hz(tab(entry)), C.hz(tab(entry))) == pytest.approx(10.0)

    def test_offsets_of_the_player_are_added(self) -> None:
        mine = replace(C, offsets={tab("-4'"): 6.0, tab("5"): -3.0})
        harp = with_reed_targets(mine, reeds_off(C, d4=-12.0, b5=5.0), naturals=True, bends=True)
        assert cents(harp.hz(tab("-4'")), C.hz(tab("-4'"))) == pytest.approx(-12.0 + 6.0)
        assert cents(harp.hz(tab("5")), C.hz(tab("5"))) == pytest.approx(5.0 - 3.0)

    @pytest.mark.parametrize(
        ("reeds", "complaint"),
        [
            ({}, "no reed of the C harp was measured"),
            (reeds_off(C, 98.0), "98 cents above a C harp with A4 = 440 Hz"),
            (reeds_off(C, -60.0), "60 cents below a C harp"),
            (reeds_off(C, 5.0, d4=-130.0), "-4 is another note, 130 cents below that of a C harp"),
        ],
    )
    def test_the_reeds_of_another_harp_are_refused(
        self, reeds: Mapping[Tab, float], complaint: str
    ) -> None:
        with pytest.raises(HarpError, match=complaint):
            with_reed_targets(C, reeds, naturals=True, bends=False)


class TestStandings:
    def test_each_reed_against_equal_its_own_harp_and_its_neighbours(self) -> None:
        pitches = {str(entry.tab): entry for entry in reed_tunings(C, reeds_off(C, 12.0, d5=-20.0))}
        assert pitches["-5"].from_equal_cents == pytest.approx(-8.0)
        assert pitches["-5"].from_temperament_cents == pytest.approx(-20.0)
        assert pitches["-5"].from_neighbours_cents == pytest.approx(-20.0)
        assert pitches["5"].from_neighbours_cents == pytest.approx(0.0)

    def test_octaves_beat_by_the_second_partial_of_the_lower_reed(self) -> None:
        reeds = {tab("1"): 262.0, tab("4"): 525.5, tab("-4"): 588.0, tab("-8"): 1174.0}
        beats = {f"{entry.low} {entry.high}": entry.beats_hz for entry in octave_pairs(C, reeds)}
        assert beats == pytest.approx({"1 4": 1.5, "-4 -8": 2.0})

    def test_a_standard_harp_has_the_octaves_that_players_split(self) -> None:
        """Blow octaves three holes apart, draw ones three or four (common practice)."""
        pitches = ", ".join(f"{entry.low} {entry.high}" for entry in octave_pairs(C, reeds_off(C)))
        assert pitches == ("1 4, -1 -4, 2 5, 3 6, -3 -7, 4 7, -4 -8, 5 8, -5 -9, 6 9, -6 -10, 7 10")

    @pytest.mark.parametrize(
        "name", [name for name, known in TEMPERAMENTS.items() if not known.tempers_bends]
    )
    def test_the_nearest_temperament_is_named(self, name: str) -> None:
        tuned = Harp.of("A", a4=442.0, temperament_name=name)
        nearest, spread = nearest_temperament(Harp.of("A"), reeds_off(tuned, d2=4.0, b7=-6.0))
        assert (nearest, spread) == (name, pytest.approx(10.0 / 20))


class TestNames:
    def test_harps_differ_by_name_and_player(self, journal: Journal) -> None:
        journal.add_harp(kept(reeds_off(C), "old C"))
        journal.add_harp(kept(reeds_off(C), "Old G", tag=HarpTag("G")))
        journal.add_harp(kept(reeds_off(C), "old C", player="Marit"))
        harps = list_own_harps(journal, "Runa")
        assert [entry.name for entry in harps] == ["old C", "Old G"]
        assert find_own_harp(harps, "oldc").name == "old C"
        with pytest.raises(HarpError, match=r"called 'new C'; your own harps are 'old C', 'Old G'"):
            find_own_harp(harps, "new C")

    def test_the_last_measurement_of_a_reed_counts(self, journal: Journal) -> None:
        journal.add_harp(kept(reeds_off(C)))
        later = kept({tab("-5"): 690.0}, when=WHEN + timedelta(days=9))
        journal.add_harp(later)
        (own,) = list_own_harps(journal, "Runa")
        pitches = {reed.tab: reed.hz for reed in own.reeds}
        assert len(pitches) == 20
        assert (pitches["-5"], pitches["5"]) == (690.0, pytest.approx(C.hz(tab("5"))))
        assert own.measured == later.measured

    def test_another_key_starts_the_name_over(self, journal: Journal) -> None:
        journal.add_harp(kept(reeds_off(C)))
        tag = HarpTag("A", name="quay")
        other = kept({tab("1"): 220.0}, tag=tag, when=WHEN + timedelta(days=1))
        journal.add_harp(other)
        assert list_own_harps(journal, "Runa") == (other,)

    def test_a_forgotten_harp_is_gone_until_it_is_measured_again(self, journal: Journal) -> None:
        journal.add_harp(kept(reeds_off(C)))
        (own,) = list_own_harps(journal, "Runa")
        forget_own_harp(journal, own)
        assert list_own_harps(journal, "Runa") == ()
        again = kept({tab("1"): 262.0}, when=datetime.now(UTC) + timedelta(seconds=1))
        journal.add_harp(again)
        assert [len(entry.reeds) for entry in list_own_harps(journal, "Runa")] == [1]

    def test_a_key_is_not_a_name(self) -> None:
        assert check_harp_name("  old   C ") == "old C"
        for name in ("C", "bb", "low F", "LF", "high G"):
            with pytest.raises(HarpError, match="is a key; choose another name"):
                check_harp_name(name)
        for name in ("", "  ", "x" * 81, "a\nb\x07"):
            with pytest.raises(HarpError, match="1 to 80 letters"):
                check_harp_name(name)


def settings(**tables: dict[str, Any]) -> Settings:
    return Settings.model_validate({"player": {"name": "Runa"}, **tables})


class TestHarpInHand:
    @pytest.fixture
    def mine(self, journal: Journal) -> Journal:
        just = Harp.of("A", temperament_name="just5")
        journal.add_harp(kept(reeds_off(C, 20.0, d4=-9.0), "quay"))
        journal.add_harp(kept(reeds_off(just), "ferry", tag=HarpTag("A", temperament="just5")))
        return journal

    def test_a_key_is_a_key(self, mine: Journal) -> None:
        mine.add_harp(kept(reeds_off(C), "D"))  # by another program
        assert select_harp(mine, settings(), "D") == (Harp.of("D"), None)
        assert select_harp(None, settings(harp={"name": "quay"}), "low F")[0] == Harp.of("low F")

    def test_a_name_is_a_measured_harp(self, mine: Journal) -> None:
        harp, name = select_harp(mine, settings(), "Quay")
        assert name == "quay"
        assert cents(harp.a4, 440.0) == pytest.approx(20.0)
        assert not harp.offsets

    def test_targets_follow_the_settings(self, mine: Journal) -> None:
        follow = settings(harp={"naturals": "reeds"})
        harp, _ = select_harp(mine, follow, "quay")
        assert harp.offsets[tab("-4")] == pytest.approx(-9.0)
        assert tab("-4'") not in harp.offsets
        bends, _ = select_harp(mine, settings(harp={"bends": "reeds"}), "quay")
        assert bends.offsets[tab("-4'")] == pytest.approx(-9.0)
        assert tab("-4") not in bends.offsets

    def test_without_an_option_the_settings_then_the_drill_decide(self, mine: Journal) -> None:
        drill = Harp.of("G", "raised-third-blow")
        named = settings(harp={"name": "ferry", "key": "D"})
        assert select_harp(mine, named, None, written_for=drill)[1] == "ferry"
        keyed = settings(harp={"key": "D", "a4": 443.0})
        assert select_harp(mine, keyed, None, written_for=drill) == (
            Harp.of("D", "raised-third-blow", a4=443.0),
            None,
        )
        assert select_harp(mine, settings(), None, written_for=drill)[0] == drill
        assert select_harp(mine, settings(), None)[0] == C
        tuned = settings(harp={"key": "D", "tuning": "solo"})
        assert select_harp(mine, tuned, None, written_for=drill)[0] == Harp.of("D", "solo")

    def test_the_temperament_is_the_measured_one_unless_another_is_named(
        self, mine: Journal
    ) -> None:
        sentences = settings(harp={"temperament": "just7"})
        assert select_harp(mine, settings(), "ferry")[0].temperament.name == "just5"
        assert select_harp(mine, sentences, "ferry")[0].temperament.name == "just7"
        equal = select_harp(mine, sentences, "ferry", temperament_name="equal")[0]
        assert equal.temperament.name == "equal"

    def test_options_take_precedence_over_the_reeds(self, mine: Journal) -> None:
        harp, _ = select_harp(mine, settings(), "quay", a4=440.0, offsets={"5": -4.0})
        assert (harp.a4, dict(harp.offsets)) == (440.0, {tab("5"): -4.0})
        follow = settings(harp={"naturals": "reeds"})
        harp, _ = select_harp(mine, follow, "quay", a4=440.0)
        assert harp.hz(tab("5")) == pytest.approx(C.hz(tab("5")) * 2 ** (20 / 1200))

    @pytest.mark.parametrize(
        ("text", "options", "values", "complaint"),
        [
            ("pier", {}, {}, "no harp has the key 'pier'.*; your own harps are 'ferry', 'quay"),
            (
                "quay",
                {"tuning": "solo"},
                {},
                "'quay' is tuned richter; leave out the tuning",
            ),
            ("quay", {"temperament_name": "odd"}, {}, "no temperament is called 'odd'"),
            (None, {}, {"name": "pier"}, "the harp 'pier' of your settings was never measured"),
        ],
    )
    def test_errors_list_the_alternatives(
        self,
        mine: Journal,
        text: str | None,
        options: dict[str, Any],
        values: dict[str, Any],
        complaint: str,
    ) -> None:
        with pytest.raises(Exception, match=complaint) as error:
            select_harp(mine, settings(harp=values), text, **options)
        assert "\n" not in str(error.value)

    def test_without_a_journal_only_keys_are_known(self) -> None:
        with pytest.raises(HarpError, match="in the journal, which cannot be opened"):
            select_harp(None, settings(), "quay")

    def test_an_impossible_harp_is_named(self) -> None:
        with pytest.raises(HarpError, match="your harp 'quay': its reeds lie 97 cents above"):
            measured_harp(kept(reeds_off(C, 97.0)))


@pytest.fixture
def journal(tmp_path: Path) -> Any:
    with Journal(tmp_path / "journal.sqlite") as opened:
        yield opened


@pytest.fixture
def trainer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Callable[..., Answer]:
    """Runs a command in this process, as ``trainer WORDS`` would, with a journal of its own."""
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "journal.sqlite"))
    monkeypatch.setenv("TRAINER_PLAYER", "Runa")

    return runner(monkeypatch, capfd)


class TestCommands:
    def test_from_a_recording_to_the_chart(self, trainer: Callable[..., Answer]) -> None:
        recording = str(path_of("c-harp"))
        measured = trainer("harp", "measure", "old C", "--harp", "C", "--from", recording)
        assert measured.code == 0
        assert "All 20 reeds are measured." in measured.out
        again = trainer("harp", "measure", "old C", "--from", recording)  # its key is known
        assert again.out == measured.out
        assert trainer("harp", "list").out.startswith("old C  C, A4 = 440.1 Hz, 20 reeds measured")
        shown = json.loads(trainer("harp", "show", "old c", "--format", "json").out)
        assert shown["nearest_temperament"] == "equal"
        assert len(shown["reeds"]) == 20
        assert len(shown["octaves"]) == 12
        chart = json.loads(trainer("harp", "old C", "--format", "json").out)
        assert chart["a4"] == pytest.approx(shown["a4"], abs=1e-3)
        assert trainer("harp", "watch").out == (
            "old C: Too few days so far to say anything; play on it and look again.\n"
        )
        assert trainer("harp", "watch", "old C", "--reed=-5").code == 0
        assert trainer("harp", "forget", "old C").code == 0
        assert "no measured harps" in trainer("harp", "list").out

    def test_all_lines_fit(self) -> None:
        reeds = reeds_off(Harp.of("high G"), -40.0, d5=-70.0)
        own = kept(reeds, "the one from the net loft", tag=HarpTag("high G"))
        for name in TEMPERAMENTS:
            text = own_harp_text(own, name, WHEN.date())
            assert max(map(len, text.splitlines())) <= 80

    def test_a_key_needs_no_command(self, trainer: Callable[..., Answer]) -> None:
        assert trainer("harp", "C").out == trainer("harp", "chart", "C").out
        assert trainer("harp", "--song", "A").out.startswith("A song in A, 1st position")
        assert "measure" in trainer("harp", "--help").out

    @pytest.mark.parametrize(
        ("words", "code", "complaint"),
        [
            ("harp", ExitCode.BAD_INPUT, "name a harp (trainer harp C)"),
            ("harp pier", ExitCode.BAD_INPUT, "no harp has the key 'pier'"),
            ("harp mesure quay --harp C", ExitCode.USAGE, "Did you mean 'measure'?"),
            (
                "harp measure quay",
                ExitCode.BAD_INPUT,
                "the key of 'quay' is unknown; add it, as in --harp C",
            ),
            (
                "harp measure D --harp C",
                ExitCode.BAD_INPUT,
                "'D' is a key; choose another name",
            ),
            ("harp measure quay --harp H", ExitCode.BAD_INPUT, "no harp has the key 'H'"),
            ("harp measure quay --harp C --from none.wav", ExitCode.BAD_INPUT, "none.wav"),
            (
                f"harp measure quay --harp C --from {path_of('bends')}",
                ExitCode.FAILED,
                "nothing is",
            ),
            ("harp show quay", ExitCode.BAD_INPUT, "none of your harps is called 'quay'"),
            ("harp watch quay", ExitCode.BAD_INPUT, "none of your harps is called 'quay'"),
            ("harp forget quay", ExitCode.BAD_INPUT, "none of your harps is called 'quay'"),
        ],
    )
    def test_bad_input_is_one_sentence(
        self, trainer: Callable[..., Answer], words: str, code: ExitCode, complaint: str
    ) -> None:
        answer = trainer(*words.split())
        assert answer.code == code
        assert complaint in answer.err

    def test_an_unusable_journal_is_reported_before_playing(
        self, trainer: Callable[..., Answer], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
    ) -> None:
        (tmp_path / "text.sqlite").write_text("no journal" * 500)
        monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "text.sqlite"))
        answer = trainer("harp", "measure", "quay", "--harp", "C", "--from", "none.wav")
        assert answer.code == ExitCode.BAD_INPUT
        assert "damaged or not a journal" in answer.err
        with pytest.raises(JournalError):
            Journal(tmp_path / "text.sqlite")


MEASURE = """
import signal, sys
from trainer.cli import main
sys.argv = ["trainer", "harp", "measure", "quay", "--harp", "C", "--attacks", "1", "--plain"]
main()
"""


def played_until_heard(output: IO[str], play: Callable[[], None]) -> Iterator[str]:
    """Yield lines of output; play at the first question, and again where none follows.

    A busy machine loses some of what is played, and the question then stays.
    """
    came: Queue[str | None] = Queue()

    def read() -> None:
        for line in output:
            came.put(line)
        came.put(None)

    threading.Thread(target=read, daemon=True).start()
    asked, tries = False, 0
    while True:
        try:
            line = came.get(timeout=PATIENCE_S if asked else WITHIN_S)
        except Empty:
            tries += 1
            assert tries < 6, "the reeds are not heard"
            play()
            continue
        if line is None:
            return
        yield line
        if "play 1 (blow 1, C4)" in line and not asked:
            asked = True
            play()


@pytest.mark.needs_pulse
def test_guided_through_a_microphone(pulse: Pulse, tmp_path: Path) -> None:
    """What is asked and heard, live, until Ctrl-C; what was measured is kept."""
    pulse.env["TRAINER_JOURNAL"] = str(tmp_path / "journal.sqlite")
    pulse.env["TRAINER_PLAYER"] = "Runa"
    sf.write(tmp_path / "reeds.wav", load("c-harp")[: 5 * RATE], RATE)
    with pulse.hiss():
        running = pulse.start(MEASURE)
        assert running.stdout is not None
        lines = []
        for line in played_until_heard(running.stdout, lambda: pulse.play(tmp_path / "reeds.wav")):
            lines.append(line)
            if "5, E5" in line:
                running.send_signal(2)
        assert running.wait(30) == 0
    text = "".join(lines)
    assert "Rest whenever you like" in text.replace("\n", " ")
    assert "5 of 20 reeds are measured" in text
    with Journal(tmp_path / "journal.sqlite") as journal:
        (own,) = list_own_harps(journal, "Runa")
    pitches = {reed.tab: cents(reed.hz, C.hz(tab(reed.tab))) for reed in own.reeds}
    assert list(pitches) == ["1", "2", "3", "4", "5"]
    assert max(map(abs, pitches.values())) < 3.0
    assert abs(cents(overall_a4_hz(C, {tab(r.tab): r.hz for r in own.reeds}), 440.0)) < 2.0
    assert median(pitches.values()) == pytest.approx(0.0, abs=1.0)
