"""Keys, tunings, reeds, tab and the chart, against published rules and libraries."""

from __future__ import annotations

import json
import pickle
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import librosa
import platformdirs
import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from trainer.cli.harp import harp as harp_command
from trainer.core import TrainerError
from trainer.drill import Step, passage_difficulty
from trainer.harp import (
    HOLES,
    STANDARD_KEYS,
    Breath,
    Harp,
    HarpError,
    Tab,
    Tuning,
    load_tuning,
    parse_key,
    parse_offsets,
    standard_key,
    tuning_names,
)
from trainer.music import POSITIONS, MusicError, cents, parse_note
from trainer.report.harp_chart import (
    Chart,
    chart_data,
    chart_text,
    harp_choices,
    harp_choices_text,
    usual_position,
)

TUNINGS = (
    "richter",
    *("augmented", "circular", "country", "diminished", "dorian-minor", "harmonic-minor"),
    *("melodic-minor", "natural-minor", "raised-third-blow", "raised-third-fifth", "solo"),
    "whole-tone",
)
RANGES = ("double-low ", "low ", "", "high ")


@pytest.fixture(scope="module", autouse=True)
def user_tunings(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """An empty tuning folder, independent of the user."""
    config = tmp_path_factory.mktemp("config")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(platformdirs, "user_config_dir", lambda *_, **__: str(config))
        folder = config / "tunings"
        folder.mkdir()
        yield folder


def tabs(text: str) -> set[Tab]:
    return {Tab.parse(word) for word in text.split()}


def names(harp: Harp, text: str) -> str:
    return " ".join(harp.note(Tab.parse(word)) for word in text.split())


class TestKey:
    @pytest.mark.parametrize("key", STANDARD_KEYS)
    def test_standard_keys_start_between_g3_and_f_sharp_4(self, key: str) -> None:
        """Common practice: G3, Ab3, A3, Bb3, B3, C4, Db4, D4, Eb4, E4, F4, F#4."""
        assert parse_key(key).tonic == 55 + STANDARD_KEYS.index(key)
        assert parse_key(key).name == key == standard_key(parse_key(key).tonic)

    @pytest.mark.parametrize(
        ("written", "name", "lowest"),
        [
            ("B", "B", "B3"),
            ("b", "B", "B3"),
            ("Bb", "Bb", "Bb3"),
            ("bb", "Bb", "Bb3"),
            ("BB", "Bb", "Bb3"),
            ("B♭", "Bb", "Bb3"),
            ("low Bb", "low Bb", "Bb2"),
            ("lb", "low B", "B2"),
            ("lf", "low F", "F3"),
            ("LF", "low F", "F3"),
            ("Low  f", "low F", "F3"),
            ("low-F#", "low F#", "F#3"),
            ("double low F", "double-low F", "F2"),
            ("double-low F", "double-low F", "F2"),
            ("LLF", "double-low F", "F2"),
            ("HG", "high G", "G4"),
            ("high g", "high G", "G4"),
            ("E#", "F", "F4"),
            ("Cb", "B", "B3"),
            ("C#", "Db", "Db4"),
            ("F♯", "F#", "F#4"),
            ("Gb", "Gb", "Gb4"),
            (" c ", "C", "C4"),
            ("d", "D", "D4"),
            ("db", "Db", "Db4"),
        ],
    )
    def test_ways_to_write_a_key(self, written: str, name: str, lowest: str) -> None:
        key = parse_key(written)
        assert (key.name, key.tonic) == (name, parse_note(lowest))

    @pytest.mark.parametrize("text", ["H", "h", "", "l", "low", "Am", "C4", "medium C", "F##"])
    def test_a_text_that_is_no_key_is_refused(self, text: str) -> None:
        with pytest.raises(HarpError, match=f"no harp has the key '{text}'; the keys are G Ab"):
            parse_key(text)


class TestTab:
    @given(st.data(), st.sampled_from(RANGES), st.sampled_from(STANDARD_KEYS))
    def test_all_entries_are_parsed_again(self, data: st.DataObject, low: str, key: str) -> None:
        harp = Harp.of(low + key, data.draw(st.sampled_from(TUNINGS)))
        for tab in harp.entries:
            assert Tab.parse(str(tab)) == tab
            assert harp.can_play(tab)

    @pytest.mark.parametrize(
        ("text", "tab", "kind"),
        [
            ("4", Tab(4, Breath.BLOW), "blow"),
            ("-10", Tab(10, Breath.DRAW), "draw"),
            ("-3'''", Tab(3, Breath.DRAW, bend=3), "draw bend"),
            ("8'", Tab(8, Breath.BLOW, bend=1), "blow bend"),
            ("6o", Tab(6, Breath.BLOW, over=True), "overblow"),
            ("-7o", Tab(7, Breath.DRAW, over=True), "overdraw"),
        ],
    )
    def test_as_players_write_it(self, text: str, tab: Tab, kind: str) -> None:
        assert Tab.parse(text) == tab
        assert tab.kind == kind

    @pytest.mark.parametrize(
        ("text", "complaint"),
        [
            ("", "'' is not tab"),
            ("x", "'x' is not tab"),
            ("+4", "is not tab"),
            ("4 ", "is not tab"),
            ("٤", "is not tab"),
            ("--4", "is not tab"),
            ("-4o'", "is not tab"),
            ("0", "'0' names hole 0; a harp has holes 1 to 10"),
            ("-11'", "'-11'' names hole 11"),
            ("-4'o", "both bent and overblown"),
        ],
    )
    def test_a_text_that_is_no_tab_is_refused(self, text: str, complaint: str) -> None:
        with pytest.raises(HarpError, match=complaint):
            Tab.parse(text)

    @given(st.text(alphabet="-0123456789'o x", max_size=6))
    def test_any_text_is_tab_or_is_refused(self, text: str) -> None:
        try:
            tab = Tab.parse(text)
        except HarpError:
            return
        assert Tab.parse(str(tab)) == tab

    def test_a_missing_hole_is_refused(self) -> None:
        with pytest.raises(HarpError, match="hole 11"):
            Tab(11, Breath.BLOW)


class TestRichter:
    def test_naturals_of_a_c_harp(self) -> None:
        """Common practice; Johnston 1987 and Bahnson, Antaki and Beery 1998 show this layout."""
        harp = Harp.of("C")
        assert names(harp, "1 2 3 4 5 6 7 8 9 10") == "C4 E4 G4 C5 E5 G5 C6 E6 G6 C7"
        assert names(harp, "-1 -2 -3 -4 -5 -6 -7 -8 -9 -10") == "D4 G4 B4 D5 F5 A5 B5 D6 F6 A6"

    @pytest.mark.parametrize("key", STANDARD_KEYS)
    def test_bends_follow_the_reed_pairs(self, key: str) -> None:
        """Johnston 1987, Acoustics Australia 15(3); Bahnson, Antaki and Beery 1998, JASA 103(4).

        The higher reed bends, to a half step above the lower one.
        """
        harp = Harp.of(key)
        assert [harp.higher_reed(hole) for hole in HOLES] == [Breath.DRAW] * 6 + [Breath.BLOW] * 4
        steps = [harp.bend_depth(hole, harp.higher_reed(hole)) / 100.0 for hole in HOLES]
        under = [step if step >= 1.0 else "under 1" for step in steps]
        assert under == [1, 2, 3, 1, "under 1", 1, "under 1", 1, 1, 2]
        assert all(step > 0.0 for step in steps)
        assert {tab for tab in harp.entries if tab.bend} == tabs(
            "-1' -2' -2'' -3' -3'' -3''' -4' -6' 8' 9' 10' 10''"
        )
        for tab in harp.entries:
            if tab.bend:
                other = harp.reed(tab.hole, tab.breath.other)
                assert other < harp.midi(tab) < harp.reed(tab.hole, tab.breath)

    @pytest.mark.parametrize("key", STANDARD_KEYS)
    def test_overblows_and_overdraws(self, key: str) -> None:
        """Bahnson, Antaki and Beery 1998: a half step above the higher reed of the hole."""
        harp = Harp.of(key)
        overs = {tab for tab in harp.entries if tab.over}
        assert overs == tabs("1o 4o 5o 6o -7o -9o -10o")
        for tab in overs:
            reeds = (harp.reed(tab.hole, breath) for breath in Breath)
            assert harp.midi(tab) == max(reeds) + 1

    def test_with_bends_and_overs_it_is_chromatic(self) -> None:
        """Common practice: three octaves without a gap."""
        harp = Harp.of("C")
        assert {harp.midi(tab) for tab in harp.entries} == set(range(60, 98))

    def test_draw_2_and_blow_3_are_one_pitch(self) -> None:
        harp = Harp.of("A")
        assert harp.same_pitch(Tab.parse("-2")) == (Tab.parse("3"),)
        assert harp.same_pitch(Tab.parse("3")) == (Tab.parse("-2"),)
        assert [tab for tab in harp.entries if harp.same_pitch(tab)] == [
            Tab.parse("-2"),
            Tab.parse("3"),
        ]

    def test_an_impossible_overblow_names_the_possible_technique(self) -> None:
        harp = Harp.of("C")
        assert Tab.parse("2o") not in harp.entries
        assert harp.same_pitch(Tab.parse("2o")) == (Tab.parse("-3'''"),)

    @pytest.mark.parametrize("low", RANGES)
    @pytest.mark.parametrize("key", STANDARD_KEYS)
    def test_hertz_agree_with_librosa(self, low: str, key: str) -> None:
        harp = Harp.of(low + key)
        for tab in harp.entries:
            hz = librosa.note_to_hz(harp.note(tab))
            assert harp.hz(tab) == pytest.approx(hz, rel=1e-12)

    def test_range_of_all_harps(self) -> None:
        """Common practice: hole 1 blow of a low F harp is F3, of a high G harp G4."""
        assert Harp.of("low F").hz(Tab.parse("1")) == pytest.approx(174.614, abs=5e-4)
        assert Harp.of("double-low F").hz(Tab.parse("1")) == pytest.approx(87.307, abs=5e-4)
        assert Harp.of("high G").hz(Tab.parse("10")) == pytest.approx(3135.963, abs=5e-4)

    def test_notes_are_spelled_in_the_harps_key(self) -> None:
        assert names(Harp.of("D"), "1 2 3 -3 -3'") == "D4 F#4 A4 C#5 C5"
        assert names(Harp.of("Bb"), "1 -5 -3''") == "Bb3 Eb5 G4"

    @pytest.mark.parametrize(
        ("text", "complaint"),
        [
            ("-5'", "hole 5 draw bends by less than a half step"),
            ("-2'''", "hole 2 bends on the draw, by 2 half steps"),
            ("4'", "hole 4 bends on the draw, by 1 half step"),
            ("7'", "hole 7 blow bends by less than a half step"),
            ("-4o", "hole 4 has no overdraw, because its draw reed is the higher one"),
            ("8o", "hole 8 has no overblow, because its blow reed is the higher one"),
        ],
    )
    def test_unplayable_entries_are_refused_with_the_holes_bends(
        self, text: str, complaint: str
    ) -> None:
        harp = Harp.of("C")
        assert not harp.can_play(Tab.parse(text))
        for ask in (harp.midi, harp.hz, harp.note, harp.same_pitch):
            with pytest.raises(HarpError, match=rf"{text} cannot .* a C harp: {complaint}\Z"):
                ask(Tab.parse(text))

    def test_entries_of_a_hole_are_in_order_of_pitch(self) -> None:
        assert [str(tab) for tab in Harp.of("C").hole_entries(3)] == [
            "3",
            "-3'''",
            "-3''",
            "-3'",
            "-3",
        ]
        assert [str(tab) for tab in Harp.of("C").hole_entries(9)] == ["-9", "9'", "9", "-9o"]


class TestNearest:
    @given(st.sampled_from(TUNINGS), st.floats(80.0, 3500.0), st.sampled_from(["C", "low F"]))
    def test_no_entry_is_nearer(self, tuning: str, hz: float, key: str) -> None:
        harp = Harp.of(key, tuning, temperament_name="just7")
        nearest = harp.nearest_entries(hz)
        least = min(abs(cents(hz, harp.hz(tab))) for tab in harp.entries)
        assert abs(cents(hz, harp.hz(nearest[0]))) == pytest.approx(least, abs=1e-6)

    def test_entries_of_one_note_come_together_the_easiest_first(self) -> None:
        harp = Harp.of("C")
        assert harp.nearest_entries(harp.hz(Tab.parse("3")) * 1.01) == (
            Tab.parse("-2"),
            Tab.parse("3"),
        )
        assert Harp.of("C", "natural-minor").nearest_entries(librosa.note_to_hz("Eb4")) == (
            Tab.parse("2"),
        )

    def test_it_follows_the_players_offsets(self) -> None:
        harp = Harp.of("C", offsets={"-3'": 60.0})
        between = harp.hz(Tab.parse("-3")) * 2.0 ** (-40.0 / 1200.0)
        assert harp.nearest_entries(between) == (Tab.parse("-3'"),)
        assert Harp.of("C").nearest_entries(between) == (Tab.parse("-3"),)

    def test_beyond_the_harp_it_is_the_last_note(self) -> None:
        assert Harp.of("C").nearest_entries(20.0) == (Tab.parse("1"),)
        assert Harp.of("C").nearest_entries(9000.0) == (Tab.parse("-10o"),)


class TestInTune:
    @pytest.mark.parametrize(
        ("tab", "offset"),
        {
            **{"1": 0.0, "2": -13.69, "3": 1.96, "10": 0.0, "-1": 3.91, "-2": 1.96},
            **{"-3": -11.73, "-5": -29.22, "-6": 5.87, "-9": -29.22, "-3'": 0.0, "6o": 0.0},
        }.items(),
    )
    def test_seven_limit_on_any_harp(self, tab: str, offset: float) -> None:
        """Ratios 1, 5/4, 3/2, 9/8, 15/8, 21/16, 27/16, 7/4 to hole 1 blow, in cents off equal."""
        for key in ("C", "low F", "B"):
            equal = Harp.of(key).hz(Tab.parse(tab))
            just = Harp.of(key, temperament_name="just7").hz(Tab.parse(tab))
            assert cents(just, equal) == pytest.approx(offset, abs=0.006)

    def test_bends_follow_a_temperament_only_if_asked(self) -> None:
        """Draw 3 bent a half step is the 7/4 of the harp's key, 31.17 cents under equal."""
        bent = Tab.parse("-3'")
        assert Harp.of("C", temperament_name="just7").offset(bent) == 0.0
        asked = Harp.of("C", temperament_name="just7-bends")
        assert asked.offset(bent) == pytest.approx(-31.17, abs=0.006)
        assert asked.offset(Tab.parse("-3")) == pytest.approx(-11.73, abs=0.006)

    @pytest.mark.parametrize(("tab", "offset"), {"2": -6.84, "-5": -14.61, "3": 0.98}.items())
    def test_halfway_between_equal_and_just(self, tab: str, offset: float) -> None:
        half = Harp.of("C", temperament_name="half-just7")
        assert half.offset(Tab.parse(tab)) == pytest.approx(offset, abs=0.006)

    @pytest.mark.parametrize("a4", [400.0, 440.0, 443.0, 480.0])
    def test_a4_moves_everything(self, a4: float) -> None:
        harp = Harp.of("G", a4=a4)
        for tab in harp.entries:
            assert harp.hz(tab) / Harp.of("G").hz(tab) == pytest.approx(a4 / 440.0, rel=1e-12)

    @pytest.mark.parametrize("a4", [399.9, 480.1, 0.0, float("nan")])
    def test_a4_out_of_range_is_refused(self, a4: float) -> None:
        with pytest.raises(HarpError, match="choose 400 to 480 Hz"):
            Harp.of("C", a4=a4)

    def test_offsets_come_on_top_and_touch_no_other_entry(self) -> None:
        plain = Harp.of("C", temperament_name="just5")
        mine = Harp.of("C", temperament_name="just5", offsets=parse_offsets(["-2=-6", "-3'=4.5"]))
        moved = {str(tab): cents(mine.hz(tab), plain.hz(tab)) for tab in plain.entries}
        assert moved.pop("-2") == pytest.approx(-6.0)
        assert moved.pop("-3'") == pytest.approx(4.5)
        assert set(moved.values()) == {0.0}
        assert mine.offset(Tab.parse("-2")) == pytest.approx(1.955 - 6.0, abs=5e-4)

    @pytest.mark.parametrize(
        ("offsets", "complaint"),
        [
            ({"-5'": 3.0}, "hole 5 draw bends by less"),
            ({"12": 3.0}, "holes 1 to 10"),
            ({"-2": 100.5}, "choose -100 to 100"),
            ({"-2": float("nan")}, "choose -100 to 100"),
        ],
    )
    def test_offsets_out_of_range_are_refused(
        self, offsets: dict[str, float], complaint: str
    ) -> None:
        with pytest.raises(HarpError, match=complaint):
            Harp.of("C", offsets=offsets)

    @pytest.mark.parametrize("word", ["-2", "-2=", "=", "-2=x", ""])
    def test_an_offset_is_tab_and_cents(self, word: str) -> None:
        with pytest.raises(HarpError, match=f"'{word}' is not an offset"):
            parse_offsets([word])

    def test_a_harp_travels_between_processes(self) -> None:
        harp = Harp.of(
            "low F", "raised-third-blow", a4=442.0, temperament_name="just7", offsets={"-2": -5.0}
        )
        fresh = pickle.loads(pickle.dumps(harp))
        harp.nearest_entries(440.0)
        used = pickle.loads(pickle.dumps(harp))
        assert fresh == used == harp
        assert len({fresh, used, harp}) == 1
        at_a4 = harp.nearest_entries(440.0)
        assert used.nearest_entries(440.0) == at_a4 == fresh.nearest_entries(440.0)


class TestTunings:
    """The purpose of each tuning is common practice; chords and scales follow from theory."""

    def test_all_tunings_are_listed_the_standard_one_first(self) -> None:
        listed = [name for name in tuning_names() if name != "half-valved"]
        assert tuple(listed) == TUNINGS
        assert "half-valved" in tuning_names()

    @pytest.mark.parametrize("name", TUNINGS)
    def test_a_harp_is_named_after_hole_1_blow(self, name: str) -> None:
        tuning = load_tuning(name)
        assert tuning.blow[0] == 0
        assert len(tuning.blow) == len(tuning.draw) == 10
        assert list(tuning.blow) == sorted(tuning.blow)
        assert list(tuning.draw) == sorted(tuning.draw)

    def test_raised_third_blow(self) -> None:
        assert changes("raised-third-blow") == {"3": 2}
        assert names(Harp.of("C", "raised-third-blow"), "2 3 -3 4") == "E4 A4 B4 C5"

    def test_country(self) -> None:
        assert changes("country") == {"-5": 1}
        assert degrees(Harp.of("C", "country"), "-2 -3 -4 -5", 2) == "1 3 5 7"
        assert str(max(Harp.of("C", "country").hole_entries(5))) == "-5'"

    def test_natural_minor_has_two_minor_chords(self) -> None:
        assert changes("natural-minor") == dict.fromkeys(["2", "5", "8", "-3", "-7"], -1)
        harp = Harp.of("C", "natural-minor")
        assert degrees(harp, "1 2 3 4 5 6 7 8 9 10", 1) == "1 b3 5 1 b3 5 1 b3 5 1"
        assert degrees(harp, "-2 -3 -4 -5", 2) == "1 b3 5 b7"
        assert degrees(harp, "-2 -3' -3 4 -4 5 -5 6", 2) == "1 2 b3 4 5 b6 b7 1"

    def test_harmonic_minor_has_its_scale_on_holes_4_to_7(self) -> None:
        assert changes("harmonic-minor") == dict.fromkeys(["2", "5", "8", "-6", "-10"], -1)
        harp = Harp.of("C", "harmonic-minor")
        assert names(harp, "4 -4 5 -5 6 -6 -7 7") == "C5 D5 Eb5 F5 G5 Ab5 B5 C6"
        assert degrees(harp, "4 -4 5 -5 6 -6 -7 7", 1) == "1 2 b3 4 5 b6 7 1"

    def test_solo_repeats_the_major_scale_every_four_holes(self) -> None:
        harp = Harp.of("C", "solo")
        assert names(harp, "1 -1 2 -2 3 -3 -4 4") == "C4 D4 E4 F4 G4 A4 B4 C5"
        for hole in range(1, 7):
            for breath in Breath:
                assert harp.reed(hole + 4, breath) == harp.reed(hole, breath) + 12
        assert harp.same_pitch(Tab.parse("4")) == (Tab.parse("5"),)
        assert harp.same_pitch(Tab.parse("8")) == (Tab.parse("9"),)

    def test_raised_third_and_fifth(self) -> None:
        assert changes("raised-third-fifth") == {"3": 2, "-5": 1}

    def test_dorian_minor(self) -> None:
        assert changes("dorian-minor") == {"-3": -1, "-7": -1}
        harp = Harp.of("C", "dorian-minor")
        assert degrees(harp, "6 -6 -7 7 -8 8 -9 9", 2) == "1 2 b3 4 5 6 b7 1"
        assert degrees(harp, "4 5 6", 1) == "1 3 5"

    def test_melodic_minor(self) -> None:
        assert changes("melodic-minor") == dict.fromkeys(["2", "5", "8"], -1)
        harp = Harp.of("C", "melodic-minor")
        assert degrees(harp, "4 -4 5 -5 6 -6 -7 7", 1) == "1 2 b3 4 5 6 7 1"

    def test_circular_runs_through_the_major_scale(self) -> None:
        tuning = load_tuning("circular")
        row = [step for pair in zip(tuning.blow, tuning.draw, strict=True) for step in pair]
        major = [12 * octave + step for octave in range(3) for step in (0, 2, 4, 5, 7, 9, 11)]
        assert row == major[:20]

    @pytest.mark.parametrize(
        ("name", "across", "apart"),
        [("diminished", 3, 2), ("whole-tone", 4, 2), ("augmented", 4, 3)],
    )
    def test_symmetric_tunings(self, name: str, across: int, apart: int) -> None:
        tuning = load_tuning(name)
        assert tuning.blow == tuple(across * hole for hole in range(10))
        assert tuning.draw == tuple(across * hole + apart for hole in range(10))

    def test_a_former_name_still_loads(self) -> None:
        assert load_tuning("Paddy") == load_tuning("raised-third-blow")

    @pytest.mark.parametrize("name", TUNINGS)
    def test_bends_and_overblows_follow_from_the_pair_of_reeds(self, name: str) -> None:
        """From the tuning's numbers alone (Johnston 1987).

        All pitches between the two reeds, in the breath of the higher one, and a half step above
        the higher one in the other breath.
        """
        tuning, harp = load_tuning(name), Harp.of("C", name)
        played: dict[str, int] = {}
        for hole, (blow, draw) in enumerate(zip(tuning.blow, tuning.draw, strict=True), start=1):
            high, sign = (draw, "-") if draw > blow else (blow, "")
            bends = range(high - 1, min(blow, draw), -1)
            played |= {f"{hole}": blow, f"-{hole}": draw}
            played |= {f"{sign}{hole}" + "'" * i: step for i, step in enumerate(bends, start=1)}
        notes = set(played.values())
        for hole, (blow, draw) in enumerate(zip(tuning.blow, tuning.draw, strict=True), start=1):
            if max(blow, draw) + 1 not in notes:
                played[f"{'' if draw > blow else '-'}{hole}o"] = max(blow, draw) + 1
        assert {str(tab): harp.midi(tab) - 60 for tab in harp.entries} == played

    def test_variants_of_a_name(self) -> None:
        assert load_tuning("Natural Minor") == load_tuning("natural_minor")

    def test_an_unknown_name_is_refused_with_the_known_ones(self, user_tunings: Path) -> None:
        with pytest.raises(HarpError, match="no tuning is called 'foo'; there are richter, a") as e:
            load_tuning("foo")
        assert str(user_tunings) in str(e.value)

    def test_a_players_drill_beside_a_broken_one(self, user_tunings: Path) -> None:
        own, broken = user_tunings / "Quay_Street.toml", user_tunings / "broken.toml"
        rows = "blow = [0, 4, 7, 12, 16, 19, 24, 28, 31, 36]\ndraw = [2, 7, 11, 14, 17, 20, 23, 26"
        try:
            own.write_text(f"title = 'Quay Street'\n{rows}, 29, 32]\n", encoding="utf-8")
            broken.write_text(f"{rows}, 29]\n", encoding="utf-8")
            assert set(tuning_names()) == {*TUNINGS, "half-valved", "quay-street", "broken"}
            assert Harp.of("C", "quay-street").note(Tab.parse("-6")) == "Ab5"
            assert Harp.of("C", "quay-street").name == "C, quay-street"
            for name in TUNINGS:
                load_tuning(name)
            with pytest.raises(HarpError, match=r"broken\.toml needs 'draw = \[\.\.\.\]' with ten"):
                load_tuning("broken")
        finally:
            own.unlink()
            broken.unlink()

    @pytest.mark.parametrize(
        ("content", "complaint"),
        [
            (b"", "needs 'blow = "),
            (b"blow = [", "cannot be read"),
            (b"\xff\xfe", "cannot be read"),
            (b"blow = 'high'", "needs 'blow = "),
            (b"blow = [0, 4, 7, 12, 16, 19, 24, 28, 31, 3.5]", "ten whole numbers from -12 to 60"),
            (b"blow = [0, 4, 7, 12, 16, 19, 24, 28, 31, 99]", "ten whole numbers from -12 to 60"),
            (b"blow = [0, 4, 7, 12, 16, 19, 24, 28, 31, true]", "ten whole numbers"),
            (b"title = 3", "'title' in the tuning file"),
        ],
    )
    def test_a_broken_file_is_named(
        self, content: bytes, complaint: str, user_tunings: Path
    ) -> None:
        path = user_tunings / "mine.toml"
        try:
            path.write_bytes(content)
            with pytest.raises(HarpError, match=complaint) as error:
                load_tuning("mine")
            assert str(path) in str(error.value)
        finally:
            path.unlink()


def changes(name: str) -> dict[str, int]:
    """Return the reeds that differ from the standard tuning, with the difference in half steps."""

    def reeds(tuning: Tuning) -> dict[str, int]:
        return {
            str(Tab(hole, breath)): tuning.half_steps(hole, breath)
            for hole in HOLES
            for breath in Breath
        }

    standard, other = reeds(load_tuning("richter")), reeds(load_tuning(name))
    return {tab: other[tab] - standard[tab] for tab in other if other[tab] != standard[tab]}


def degrees(harp: Harp, text: str, position: int) -> str:
    named = {str(entry.tab): entry.degree for entry in Chart.of(harp, position).entries}
    return " ".join(named[tab] for tab in text.split())


class TestHalfValved:
    """Common practice: valves on draw 1 to 6 and blow 7 to 10; the other reeds bend alone."""

    def test_a_standard_harp(self) -> None:
        plain, harp = Harp.of("C"), Harp.of("C", "half-valved")
        added = {tab for tab in harp.entries if tab not in plain.entries}
        assert added == tabs("1' 2' 3' 4' 5' 6' -7' -8' -9' -10'")
        assert {tab for tab in plain.entries if tab not in harp.entries} == tabs(
            "1o 4o 5o 6o -7o -9o -10o"
        )
        assert names(harp, "1' 2' 5' 6' -7' -10'") == "B3 Eb4 Eb5 Gb5 Bb5 Ab6"
        assert all(harp.hz(tab) == plain.hz(tab) for tab in harp.entries if tab not in added)
        assert (harp.name, load_tuning("Richter half-valved")) == ("C, half-valved", harp.tuning)

    @pytest.mark.parametrize("name", TUNINGS)
    def test_each_tuning_from_its_numbers(self, name: str) -> None:
        """Every hole then bends in both breaths, unless its reeds are a half step apart or none."""
        tuning = load_tuning(name)
        harp = Harp.of("C", f"{name}-half-valved")
        played: dict[str, int] = {}
        for hole, (blow, draw) in enumerate(zip(tuning.blow, tuning.draw, strict=True), start=1):
            (low, lower), (high, higher) = sorted([(blow, str(hole)), (draw, f"-{hole}")])
            played |= {lower: low, f"{lower}'": low - 1, higher: high}
            played |= {higher + "'" * bend: high - bend for bend in range(1, high - low)}
        assert {str(tab): harp.midi(tab) - 60 for tab in harp.entries} == played

    @pytest.mark.parametrize(
        ("text", "complaint"),
        [
            ("6o", "hole 6 has no overblow, because its draw reed has a valve"),
            ("-7o", "hole 7 has no overdraw, because its blow reed has a valve"),
            ("-4''", "hole 4 bends on the blow, by 1 half step and on the draw, by 1 half step"),
            ("5''", "hole 5 bends on the blow, by 1 half step"),
        ],
    )
    def test_what_it_cannot_play(self, text: str, complaint: str) -> None:
        with pytest.raises(HarpError, match=rf"{text} cannot .* half-valved harp: {complaint}\Z"):
            Harp.of("C", "half-valved").midi(Tab.parse(text))

    def test_a_tuning_file_places_its_own_valves(self, user_tunings: Path) -> None:
        path = user_tunings / "mine.toml"
        rows = "blow = [0, 4, 7, 12, 16, 19, 24, 28, 31, 36]\n"
        rows += "draw = [2, 7, 11, 14, 17, 21, 23, 26, 29, 33]\n"
        try:
            path.write_text(f'{rows}valves = ["-6", "3"]\n', encoding="utf-8")
            harp = Harp.of("C", "mine")
            assert {tab for tab in harp.entries if harp.bends_alone(tab)} == tabs("6 6' -3 -3'")
            path.write_text(f"{rows}valves = [6]\n", encoding="utf-8")
            with pytest.raises(HarpError, match=r"'valves' in .*mine\.toml must list reeds as tab"):
                load_tuning("mine")
        finally:
            path.unlink()

    def test_it_is_easier_than_an_overblow_and_harder_than_a_draw_bend(self) -> None:
        """Common practice: the missing notes of the middle octave, by valved bend or overblow."""
        plain, valved = Harp.of("C"), Harp.of("C", "half-valved")
        for note in ("Eb5", "Gb5"):
            (over,) = plain.entries_for(parse_note(note))
            (bend,) = valved.entries_for(parse_note(note))
            assert difficulty("-4'", plain) < difficulty(str(bend), valved)
            assert difficulty(str(bend), valved) < difficulty(str(over), plain)

    def test_the_chart_shows_which_reeds_bend_alone(self) -> None:
        chart = Chart.of(Harp.of("C", "half-valved"))
        rows = [" ".join(line.split()) for line in chart_text(chart).splitlines()]
        assert f"bends alone {'blow ' * 6}{'draw ' * 4}".strip() in rows
        assert [hole["bends_alone"] for hole in chart_data(chart)["holes"]] == (
            [["blow"]] * 6 + [["draw"]] * 4
        )


def difficulty(text: str, harp: Harp) -> float:
    step = Step(0, ((Tab.parse(text),),), Fraction(0), Fraction(1))
    return passage_difficulty([step], harp, 1.0)


class TestChart:
    def test_all_entries_are_listed_once_with_their_frequency(self) -> None:
        harp = Harp.of("Eb", a4=442.0, temperament_name="just5")
        lines = chart_text(Chart.of(harp, 2)).splitlines()
        for tab in harp.entries:
            (line,) = [line for line in lines if line.split(" ")[0] == str(tab)]
            assert f"{harp.hz(tab):.2f}" in line
            assert f"{harp.offset(tab):+.1f}" in line

    def test_the_grid_shows_the_harp_as_held(self) -> None:
        lines = chart_text(Chart.of(Harp.of("C"), 2)).splitlines()
        rows = [" ".join(line.split()) for line in lines]
        hole = next(index for index, line in enumerate(lines) if line.startswith("hole"))
        assert lines[0] == "C harp, 2nd position: G, Mixolydian without bends"
        assert rows[hole - 2] == "blow C4 E4 G4 C5 E5 G5 C6 E6 G6 C7"
        assert rows[hole - 1] == "4 6 1 4 6 1 4 6 1 4"
        assert rows[hole + 1] == "draw D4 G4 B4 D5 F5 A5 B5 D6 F6 A6"
        assert rows[hole + 2] == "5 1 3 5 b7 2 3 5 b7 2"
        assert rows[hole + 3] == "draw bend ' Db4 F#4 Bb4 Db5 Ab5"
        assert "half-step bends 1 2 3 1 <1 1 <1 1 1 2" in rows
        column = lines[hole].index("6")
        assert lines[hole + 3].index("Ab5") == column == lines[hole + 1].index("A5")

    def test_entries_of_the_same_pitch_are_marked(self) -> None:
        text = chart_text(Chart.of(Harp.of("C")))
        (draw,) = [line for line in text.splitlines() if line.startswith("-2 ")]
        assert draw.endswith("same note as 3")

    @pytest.mark.parametrize("tuning", [*TUNINGS, "natural-minor-half-valved"])
    def test_it_fits_80_columns_of_plain_characters(self, tuning: str) -> None:
        harp = Harp.of("double-low F#", tuning, a4=441.5, temperament_name="just5")
        for position in POSITIONS:
            text = chart_text(Chart.of(harp, position))
            assert text.isascii()
            assert max(len(line) for line in text.splitlines()) <= 80

    def test_as_data(self) -> None:
        data = json.loads(
            json.dumps(chart_data(Chart.of(Harp.of("C", temperament_name="just7"), 3)))
        )
        assert (data["key"], data["position"], data["position_key"]) == ("C", 3, "D")
        assert data["holes"][2] == {
            "hole": 3,
            "bends": "draw",
            "bend_limit_cents": 300.0,
            "bends_alone": [],
        }
        draw_5 = next(entry for entry in data["entries"] if entry["tab"] == "-5")
        assert draw_5 == {
            "tab": "-5",
            "hole": 5,
            "breath": "draw",
            "kind": "draw",
            "note": "F5",
            "degree": "b3",
            "hz": pytest.approx(librosa.note_to_hz("F5") * 2 ** (-29.22 / 1200), abs=2e-3),
            "cents": -29.22,
            "same_pitch": [],
        }


class TestPicks:
    def test_harps_for_a_song_in_a(self) -> None:
        """Common practice: a song in A, first position A harp, second D, third G."""
        choices = harp_choices("A", load_tuning("richter"))
        assert " ".join(pick.harp for pick in choices) == "A D G C F Bb Eb Ab Db F# B E"
        assert " ".join(choices[1].naturals) == "1 2 3 4 5 6 b7"

    def test_a_song_in_minor_is_played_in_third_position_first(self) -> None:
        """Common practice: Am on a G harp, third position, or on a C harp, fourth."""
        richter = load_tuning("richter")
        text = harp_choices_text("Am", usual_position("Am", richter), richter)
        rows = text.splitlines()
        assert rows[0].startswith("A song in Am, 3rd position: G harp")
        assert [row.split()[:2] for row in rows[3:6]] == [["3rd", "G"], ["4th", "C"], ["2nd", "D"]]
        assert rows[3].endswith("Dorian")
        assert rows[4].endswith("natural minor (Aeolian)")
        assert usual_position("A", richter) == 1

    @pytest.mark.parametrize(
        ("song", "tuning", "first", "mode"),
        [
            ("Cm", "natural-minor", 2, "natural minor (Aeolian)"),
            ("Cm", "dorian-minor", 2, "Dorian"),
            ("Cm", "harmonic-minor", 1, "harmonic minor"),
            ("Cm", "melodic-minor", 1, "melodic minor"),
            ("C", "natural-minor", 12, "Mixolydian"),
            ("C", "country", 1, None),
        ],
    )
    def test_a_tuning_is_played_where_it_has_the_songs_third(
        self, song: str, tuning: str, first: int, mode: str | None
    ) -> None:
        """The modes of each tuning by music theory; that one plays there is common practice."""
        chosen = load_tuning(tuning)
        assert usual_position(song, chosen) == first
        assert harp_choices(song, chosen)[first - 1].mode == mode

    def test_positions_and_tunings_have_the_modes_of_theory(self) -> None:
        modes = [choice.mode for choice in harp_choices("C", load_tuning("richter"))]
        assert modes[:6] == [
            *("major (Ionian)", "Mixolydian", "Dorian", "natural minor (Aeolian)", "Phrygian"),
            "Locrian",
        ]
        assert modes[6:11] == [None] * 5
        assert modes[11] == "Lydian"
        assert harp_choices("C", load_tuning("melodic-minor"))[0].mode == "melodic minor"
        assert harp_choices("C", load_tuning("harmonic-minor"))[0].mode == "harmonic minor"
        assert harp_choices("G", load_tuning("dorian-minor"))[1].mode == "Dorian"

    def test_the_first_six_positions_give_the_church_modes(self) -> None:
        """The modes of the major scale, by music theory."""
        choices = harp_choices("Em", load_tuning("richter"))
        assert [" ".join(pick.naturals) for pick in choices[:6]] == [
            "1 2 3 4 5 6 7",
            "1 2 3 4 5 6 b7",
            "1 2 b3 4 5 6 b7",
            "1 2 b3 4 5 b6 b7",
            "1 b2 b3 4 5 b6 b7",
            "1 b2 b3 4 b5 b6 b7",
        ]

    def test_the_requested_harp_comes_first(self) -> None:
        text = harp_choices_text("Bb", 2, load_tuning("richter"))
        assert text.startswith("A song in Bb, 2nd position: Eb harp")
        assert len(text.splitlines()) == 3 + 12


class TestCommand:
    def run(self, *words: str) -> Result:
        app = typer.Typer()
        app.command("harp")(harp_command)
        return CliRunner().invoke(app, list(words))

    def test_chart(self) -> None:
        result = self.run("C", "--position", "2", "--temperament", "just5", "--a4", "442")
        assert result.exit_code == 0
        harp = Harp.of("C", a4=442.0, temperament_name="just5")
        assert result.stdout == chart_text(Chart.of(harp, 2)) + "\n"

    def test_offsets(self) -> None:
        data = json.loads(self.run("C", "--offset", "-5=-12", "--format", "json").stdout)
        assert {e["tab"]: e["cents"] for e in data["entries"] if e["cents"]} == {"-5": -12.0}

    def test_song_alone_picks_a_harp(self) -> None:
        assert "2nd position: D harp" in self.run("--song", "A", "--position", "2").stdout
        data = json.loads(self.run("--song", "Am", "--position", "3", "--format", "json").stdout)
        assert (data["harp"], data["positions"][3]["harp"]) == ("G", "C")

    def test_harp_and_song_find_the_position(self) -> None:
        assert self.run("C", "--song", "A").stdout.startswith(
            "C harp, 4th position: A, natural minor (Aeolian) without bends\n"
        )
        assert self.run("C", "--song", "A", "--position", "4").exit_code == 0

    @pytest.mark.parametrize(
        ("words", "kind", "complaint"),
        [
            ((), HarpError, "name a harp"),
            (("X",), HarpError, "no harp has the key 'X'"),
            (("C", "--tuning", "foo"), HarpError, "no tuning is called 'foo'"),
            (("C", "--temperament", "foo"), MusicError, "no temperament is called 'foo'"),
            (("C", "--a4", "500"), HarpError, "A4 = 500 Hz is out of range"),
            (("C", "--position", "13"), MusicError, "no position 13"),
            (("--song", "A", "--position", "0"), MusicError, "no position 0"),
            (("--song", "H"), MusicError, "'H' is not the key of a song"),
            (("C", "--song", "A", "--position", "2"), HarpError, "in 4th position; leave out"),
            (("C", "--offset", "-5"), HarpError, "'-5' is not an offset"),
        ],
    )
    def test_bad_input_is_one_sentence(
        self, words: tuple[str, ...], kind: type[TrainerError], complaint: str
    ) -> None:
        error = self.run(*words).exception
        assert isinstance(error, kind)
        assert complaint in str(error)
        assert "\n" not in str(error)
