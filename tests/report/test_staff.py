"""Staff notation: what the engraver made of it, against the drill and scores written by hand."""

from __future__ import annotations

import base64
import io
import re
import sys
from collections import Counter
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import mido
import pytest

from tests.support.command_line import Trainer
from trainer.cli.exit_codes import ExitCode
from trainer.drill import Drill, find_drill, parse_drill
from trainer.exchange import drill_to_musicxml
from trainer.harp import Harp
from trainer.report.drill_sheet import drill_sheet_html
from trainer.report.staff import PAPER, PHONE, StaffError, engrave

verovio = pytest.importorskip("verovio")
PER_QUARTER = 24
"""Grid on which times of the engraver's MIDI are compared; it ends notes a tick early."""
MEI = "{http://www.music-encoding.org/ns/mei}"


def drill_of(tab: str, head: str = "") -> Drill:
    text = f'title = "The crane"\nharp = "C"\ntempo = 96\n{head}\ntab = """\n{tab}\n"""\n'
    return parse_drill(text, "the-crane")


def harp_of(drill: Drill) -> Harp:
    return Harp.of(drill.key, drill.tuning)


def engraver(drill: Drill) -> Any:
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    toolkit.setOptions({"inputFrom": "xml"})
    assert toolkit.loadData(drill_to_musicxml(drill, harp_of(drill)))
    return toolkit


def engraved_notes(drill: Drill) -> Counter[tuple[int, int, int]]:
    """Start and end on the grid, and MIDI note number, of each note that the engraver plays."""
    file = mido.MidiFile(file=io.BytesIO(base64.b64decode(engraver(drill).renderToMIDI())))
    grid = PER_QUARTER / file.ticks_per_beat
    notes: Counter[tuple[int, int, int]] = Counter()
    for track in file.tracks:
        now, started = 0, dict[int, int]()
        for message in track:
            now += message.time
            if message.type == "note_on" and message.velocity:
                started[message.note] = now
            elif message.type in ("note_on", "note_off") and message.note in started:
                start = started.pop(message.note)
                notes[round(start * grid), round((now + 1) * grid), message.note] += 1
    return notes


def wanted_notes(drill: Drill) -> Counter[tuple[int, int, int]]:
    """The same from the drill's steps and the harp's frequencies; A4 = 440 Hz is 69."""
    harp, grid = harp_of(drill), PER_QUARTER * 4 / drill.meter[1]
    notes: Counter[tuple[int, int, int]] = Counter()
    for step in (*drill.steps, *drill.second):
        length = step.beats / len(step.sounds)
        for i, sound in enumerate(step.sounds):
            start = step.start - drill.start + i * length
            for tab in (*sound, *step.implied_neighbour(sound)):
                times = (round(start * grid), round((start + length) * grid))
                notes[*times, harp.midi(tab)] += 1
    return notes


@pytest.mark.parametrize(
    "name",
    [
        "chandlers-waltz",  # another tuning, 3/4
        "five-lobster-pots",
        "gulls-at-noon",  # blow bends, let up and in ladders
        "hailing-boats",  # off-beats and triplets
        "late-for-class",  # a pick-up
        "mending-the-nets",  # 6/8
        "overdraws-on-top",
        "pairs-on-the-pier",  # chords
        "rope-over-the-rail",  # ties over the bar line
        "smokehouse-blues",
        "two-at-the-rail",  # two parts
        "winding-the-capstan",
    ],
)
def test_the_engraver_plays_the_drills_pitches_and_lengths(name: str) -> None:
    drill = find_drill(name)
    assert engraved_notes(drill) == wanted_notes(drill)


def accidental(note: ET.Element) -> str | None:
    written = [note.get("accid"), *(child.get("accid") for child in note.iter(f"{MEI}accid"))]
    return next(filter(None, written), None)


def test_notes_are_those_of_a_score_written_by_hand() -> None:
    """A C harp in first position: the bend is a C sharp, and the C after it needs its natural."""
    drill = drill_of("4:1 -4':0.5 -4:0.5 [4 -4 5]:1 -2:1 | ~:2 1+4:2 |")
    mei = ET.fromstring(engraver(drill).getMEI())
    notes = [(n.get("pname"), n.get("oct"), accidental(n)) for n in mei.iter(f"{MEI}note")]
    first_bar = [("c", "5", None), ("c", "5", "s"), ("d", "5", None)]
    first_bar += [("c", "5", "n"), ("d", "5", None), ("e", "5", None), ("g", "4", None)]
    assert notes == [*first_bar, ("g", "4", None), ("c", "4", None), ("c", "5", None)]
    assert [len(beam.findall(f".//{MEI}note")) for beam in mei.iter(f"{MEI}beam")] == [2, 3]
    assert [(t.get("num"), t.get("numbase")) for t in mei.iter(f"{MEI}tuplet")] == [("3", "2")]
    assert len(list(mei.iter(f"{MEI}tie"))) == 1


def test_signature_meter_swing_and_clef() -> None:
    mei = engraver(find_drill("smokehouse-blues")).getMEI()  # A harp, second position
    assert "Swing 2 : 1" in mei
    assert re.search(r'<meterSig [^>]*count="4" unit="4"', mei)
    assert re.search(r'<keySig [^>]*sig="[1-4]s"', mei)
    high = engraver(drill_of("10:4 | 9:4 |")).getMEI()
    assert re.search(r'<clef [^>]*dis="8" dis.place="above"', high)


def test_each_note_has_its_tab_and_breath_below_it() -> None:
    drill = find_drill("ferry-home")
    (staff,) = engrave(drill, harp_of(drill), [PAPER])
    assert len(staff.lines) == 2  # four bars and three
    texts = []
    for _, svg in staff.lines:
        root = ET.fromstring(svg)
        for note in root.iter():
            if note.get("class") not in ("note", "chord"):
                continue
            verses = [v for v in note.iter() if v.get("class") == "verse"]
            if not verses:
                continue
            words = ["".join(verse.itertext()).strip() for verse in verses]
            head = next(
                use for use in note.iter() if use.tag.endswith("use") and use.get("transform")
            )
            x = float(re.findall(r"-?[\d.]+", str(head.get("transform")))[0])
            text = next(t for t in verses[0].iter() if t.tag.endswith("}text") and t.get("x"))
            assert abs(float(str(text.get("x"))) - x) < 250  # a note head is about 200 wide
            texts.append(words)
    assert [tab for tab, _ in texts][:4] == ["-2", "4", "-3'", "4"]
    assert all(arrow == ("↓" if "-" in tab else "↑") for tab, arrow in texts)


def test_a_phone_has_shorter_lines_and_a_sheet_has_both() -> None:
    drill = find_drill("rain-on-the-skylight")
    paper, phone = engrave(drill, harp_of(drill))
    assert (len(paper.lines), len(phone.lines)) == (4, 8)
    assert (paper.name, phone.name) == (PAPER.name, PHONE.name)
    page = drill_sheet_html(drill, staff=[paper, phone])
    assert page.count('role="img"') == 12
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(set(ids)) == len(ids) > 100


def test_without_the_engraver_a_sentence_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "verovio", None)
    drill = find_drill("ferry-home")
    with pytest.raises(StaffError, match="python -m pip install verovio, or leave out --staff"):
        engrave(drill, harp_of(drill))


def test_the_command_writes_a_sheet_with_a_staff(trainer: Trainer, tmp_path: Path) -> None:
    sheet, midi = tmp_path / "s.html", tmp_path / "s.mid"
    answer = trainer("drill", "export", "ferry-home", str(sheet), "--staff")
    assert (answer.code, answer.err) == (0, f"Wrote {sheet}.\n")
    assert "<svg" in sheet.read_text(encoding="utf-8")
    answer = trainer("drill", "export", "ferry-home", str(midi), "--staff")
    assert answer.code == ExitCode.BAD_INPUT
    assert "--staff is for .html sheets" in answer.err
    assert not midi.exists()


@pytest.mark.parametrize(
    ("word", "is_drawn"), {"scoop": False, "fall": False, "slap": False, "accent": True}.items()
)
def test_a_direction_is_a_mark_that_the_engraver_draws_or_else_a_word(
    word: str, is_drawn: bool
) -> None:
    drill = drill_of(f"4:1 -4:1{{{word}}} r:2 |")
    sheet = drill_to_musicxml(drill, harp_of(drill), bars_per_line=4)
    assert (f"<words>{word}" in sheet) is not is_drawn
    drawn = "".join(map(str, engrave(drill, harp_of(drill))))
    assert ('class="artic"' in drawn) is is_drawn
    assert "<words>" not in drill_to_musicxml(drill, harp_of(drill))
