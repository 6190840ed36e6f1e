"""The page of tab, its legend and facts, and the course, for all that a drill can say."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.support import shelf
from tests.support.each import each_drill
from trainer.drill import Drill, Shelf, Tightening, parse_drill, read_shelf
from trainer.report.directions import written_tab
from trainer.report.drill_report import drill_summary
from trainer.report.shelf_report import shelf_data, shelf_text
from trainer.report.tab_layout import drill_text, tab_page_text

SHELF = shelf.SHELF.drills


def drill_of(tab: str, *, goal: str = "", climb: str = "", **head: str) -> Drill:
    fields = {"title": '"T"', "harp": '"C"', "tempo": "90", **head}
    lines = [f"{name} = {value}" for name, value in fields.items()]
    tables = [f"[{name}]\n{text}" for name, text in (("goal", goal), ("climb", climb)) if text]
    return parse_drill("\n".join([*lines, f'tab = """{tab}"""', *tables, ""]), "t")


TIGHTENING = replace(drill_of("4:4"), tightening=Tightening(start=20.0, by=5.0, to=10.0))


def legend_of(drill: Drill, width: int = 80) -> dict[str, str]:
    """The signs under a page and what they mean, lines put together again."""
    under = drill_text(drill, width).partition(tab_page_text(drill, width))[2].strip("\n")
    meanings: dict[str, str] = {}
    sign = ""
    for line in under.split("\n"):
        head, _, meaning = line.partition("  ")
        sign = head or sign
        meanings[sign] = f"{meanings.get(sign, '')} {meaning.strip()}".strip()
    return meanings


# Pages set by hand


def test_a_pick_up_is_bar_0_and_counted_as_the_end_of_a_bar() -> None:
    """Count a pick-up as players do (common practice).

    A beat before the bar is its last, half a beat the and.
    """
    beat = drill_of("5 | 4 -4 5 4 | 4:3", pickup="1")
    assert tab_page_text(beat) == (
        "0 5  |\n  4\n\n1 4  -4  5  4  | 4  .  .  |\n  1  2   3  4    1  2  3"
    )
    half = drill_of("5:0.5 | 4:2 -4 | 4:2 5:0.5", meter='"3/4"', pickup="0.5")
    assert tab_page_text(half) == ("0 5  |\n  &\n\n1 4  .  -4  | 4  .  5  |\n  1  2  3     1  2  3")


def test_triplets_are_counted_and_a_tie_goes_on_over_the_bar_line() -> None:
    """Thirds of a beat are counted 1 & a (common practice).

    A triplet of two beats goes through the second one.
    """
    drill = drill_of("4:2 [5 6 5]:2 | [4 5 4 5 4]:1 ~ [4:2 5]:1 r | 4:3 -4 | ~:2 5:2")
    assert tab_page_text(drill, 50) == (
        "1 4  .  5  6  .  5  | 4  5  4  5  4  .  4  5  r  |\n"
        "  1  2  3  a  4  &    1  '  '  '  '  2  3  a  4\n"
        "\n"
        "3 4  .  .  -4       | .  .  5  .                 |\n"
        "  1  2  3  4          1  2  3  4"
    )


def test_directions_stand_over_the_notes_that_they_are_for() -> None:
    drill = drill_of(
        "4 {blur} -4 4 r | -4 4:3 {} | "
        "4 5{clean,vibrato 6 30} -4:2{chord,vibrato} | -4 5{wah 2} 6:2{wah}"
    )
    assert tab_page_text(drill, 60) == (
        "     (blur                               )\n"
        "1 4  -4  4  r                      | -4  4  .  .         |\n"
        "  1  2   3  4                        1   2  3  4\n"
        "\n"
        "     (clean)        (chord)\n"
        "     (vibrato 6 30) (vibrato 5 20)\n"
        "                                         (wah 2) (wah 3)\n"
        "3 4  5              -4          .  | -4  5       6    .  |\n"
        "  1  2              3           4    1   2       3    4"
    )


def test_techniques_are_on_the_page() -> None:
    drill = drill_of("^-5 -4 {legato} 4 5 {} 6{accent} | -4<>5:2 4{scoop, fall} 5")
    assert tab_page_text(drill, 60) == (
        "          (legato )\n"
        "                     (accent)             (scoop, fall)\n"
        "1 ^-5 -4  4       5  6        | -4<>5  .  4          5  |\n"
        "  1       2       3  4          1      2  3          4"
    )


def test_a_direction_that_goes_on_is_said_again_on_the_next_line() -> None:
    drill = drill_of("4 {blur} 4 4 4 | 5 5 5 5 | {} 5 {blur} 4:3 | 6:4")
    assert tab_page_text(drill, 20) == (
        "     (blur )\n"
        "1 4  4  4  4  |\n"
        "  1  2  3  4\n"
        "\n"
        "  (blur    )\n"
        "2 5  5  5  5  |\n"
        "  1  2  3  4\n"
        "\n"
        "     (blur)\n"
        "3 5  4  .  .  |\n"
        "  1  2  3  4\n"
        "\n"
        "  (blur)\n"
        "4 6  .  .  .  |\n"
        "  1  2  3  4"
    )


def test_what_comes_before_the_first_call_is_no_answer() -> None:
    drill = drill_of("4:4 | {call} 4 5 6 5 | {answer} 4 5 6 5")
    assert tab_page_text(drill) == (
        "                (call    )    (answer  )\n"
        "1 4  .  .  .  | 4  5  6  5  | 4  5  6  5  |\n"
        "  1  2  3  4    1  2  3  4    1  2  3  4"
    )


def test_a_second_part_stands_under_the_first_on_the_same_beats() -> None:
    drill = drill_of("4:2 -4:2 | 4 5:0.5 6:0.5 5:2", second='"""1:4 | 1:1.5 2:2.5"""')
    assert tab_page_text(drill) == (
        "1 4  .  -4  .  | 4  5  6  5  .  |\n"
        "  1  .  .   .  | 1  .  2  .  .  |\n"
        "  1  2  3   4    1  2  &  3  4"
    )
    off = drill_of("4:2 -4:2", second='"""r:0.5 1:1.5{blur} r:2"""')
    assert tab_page_text(off) == (
        "1 4  .  .  -4  .  |\n     (blur)\n  r  1  .  r   .  |\n  1  &  2  3   4"
    )


def test_a_free_clock_has_no_beats() -> None:
    drill = drill_of("4:2 -4:2 | 5:4 | ~:4 | -3=-3':2{wah} r:2", clock='"free"')
    assert tab_page_text(drill) == ("                     (wah)\n1 4  -4  | 5  | .  | -3=-3'  r  |")


def test_what_is_wider_than_the_page_goes_on_after_a_joining_sign() -> None:
    drill = drill_of("-1+2+3+4+5+6+7+8+9+10:4 | 4>5>6>7>8>9>10:4{vibrato}")
    assert tab_page_text(drill, 20) == (
        "1 -1+2+3+4+5+6+7+\n"
        "  1\n"
        "\n"
        "  8+9+10  .  .  .  |\n"
        "          2  3  4\n"
        "\n"
        "  (vibrato)\n"
        "2 4>5>6>7>8>9>10\n"
        "  1\n"
        "\n"
        "  .  .  .  |\n"
        "  2  3  4"
    )


def test_a_pick_up_that_is_wider_than_its_bars_is_broken_too() -> None:
    drill = drill_of("-3@-40 -3@-40 -3@-40 | 4:4", pickup="3")
    assert tab_page_text(drill, 20) == (
        "0 -3@-40  -3@-40\n  2       3\n\n  -3@-40  |\n  4\n\n1 4  .  .  .  |\n  1  2  3  4"
    )


# What the signs mean


@pytest.mark.parametrize(
    ("tab", "sign", "meaning"),
    [
        ("1+4:4", "+", "together, on one breath"),
        ("-4'>-4:4", ">", "a glide, in one breath"),
        ("-3=-3':4", "=", "a ladder: each held for as long, in one breath"),
        ("-2/3:4", "/", "either will do"),
        ("-3@-40:4", "@", "cents over (+) or under (-) the note"),
        ("-3@+40:4", "@", "cents over (+) or under (-) the note"),
        ("4:3 r", "r", "a rest"),
        ("4:4", ".", "the note before goes on"),
        ("4:0.5 4:3.5", "&", "half of a beat"),
        ("4:0.75 4:3.25", "e & a", "quarters of a beat"),
        ("4:1/3 4:11/3", "& a", "thirds of a beat"),
        ("4:0.2 4:3.8", "'", "another place in a beat"),
        ("4:4{clean}", "(clean)", "must be clean; it earns no more than that"),
        ("4:4{blur}", "(blur)", "a neighbour may sound along"),
        ("4:4{chord}", "(chord)", "a hole beside it must sound along"),
        ("4:4{wah 2.5}", "(wah)", "open and close the hands 2.5 times a second"),
        (
            "4:4{vibrato 6 30}",
            "(vibrato)",
            "dip the pitch 6 times a second, by 60 cents; swing a bend by 30 to each side",
        ),
        ("-4<>5:4", "<>", "a shake: back and forth, 6 times a second unless written above"),
        ("-4<>5:4{shake 5}", "(shake)", "back and forth between the holes 5 times a second"),
        ("^-5 -4:4", "^", "a grace note: crushed in just before the beat"),
        ("1+2:4{around}", "(around)", "a chord on about these holes, two or more of them"),
        (
            "4:4{hand vibrato}",
            "(hand vibrato)",
            "swing the loudness with the hands 5 times a second, by 6 dB",
        ),
        ("4:4{scoop 1 80}", "(scoop)", "begin 80 cents low and glide up over 1 beat"),
        ("4:4{dip}", "(dip)", "begin 100 cents low and rise at once"),
        ("4:4{fall}", "(fall)", "let the pitch fall by 100 cents in the last 1/2 beat"),
        ("4:4{tongued}", "(tongued)", "stop, and tongue the note"),
        ("4:4{staccato}", "(staccato)", "short: hold at most half of the note's length"),
        ("4:4{accent}", "(accent)", "louder than the notes around it"),
        ("4:4{swell}", "(swell)", "grow louder over the note, by 6 dB"),
        ("4:4{fade 9}", "(fade)", "grow softer over the note, by 9 dB"),
        ("4:4{optional}", "(optional)", "may be left out"),
        ("{call} 4:4 | {answer} 4:4", "(call)", "the trainer plays"),
        ("{call} 4:4 | {answer} 4:4", "(answer)", "you play after it"),
    ],
)
def test_every_sign_that_occurs_is_explained_and_no_other(
    tab: str, sign: str, meaning: str
) -> None:
    assert legend_of(drill_of(tab))[sign] == meaning
    assert legend_of(drill_of(tab), 24)[sign] == meaning
    assert sign not in legend_of(drill_of("-4' 6o 8' -7o"))


def test_what_is_plain_tab_needs_no_legend() -> None:
    drill = drill_of("-4' 6o 8' -7o")
    assert drill_text(drill).endswith(tab_page_text(drill))


def test_pick_up_and_second_part_are_explained() -> None:
    assert "pick-up" in legend_of(drill_of("4 | 4:3", pickup="1"))["0"]
    two = drill_of("4:4", second='"""1:4"""')
    assert legend_of(two)["lower"] == "tab: the other part, played together with the upper"
    assert legend_of(drill_of("4:4", second='"""1+2:4{blur}"""')).keys() >= {"+", "(blur)"}


def test_several_vibratos_are_told_apart() -> None:
    drill = drill_of("4:2{vibrato} 4:2{vibrato 6.5 30}")
    assert legend_of(drill).keys() >= {"(vibrato 5 20)", "(vibrato 6.5 30)"}
    assert "(vibrato 5 20)" in tab_page_text(drill)


def test_a_free_clock_counts_nothing() -> None:
    assert legend_of(drill_of("4:0.5 r:3.5", clock='"free"')).keys() == {"r"}


# The facts


@pytest.mark.parametrize(
    ("drill", "expected"),
    [
        (drill_of("4:4"), "C harp; 4/4, 90 beats a minute; 1 bar, 0:03."),
        (drill_of("4:4", swing="2"), "90 beats a minute, swung 2 to 1; 1 bar"),
        (drill_of("4:4", swing="1.5"), "swung 1.5 to 1"),
        (drill_of("4 | 4:3", pickup="1"), "1 bar and a pick-up, 0:03."),
        (drill_of("4:4", level="3", skills='["a", "b"]'), "Level 3; a, b. C harp;"),
        (
            drill_of("4:4", clock='"free"'),
            "C harp; free clock: each step waits until it has been held in tune for 0.5 seconds; "
            "1 bar. Goal",
        ),
        (drill_of("4:4", clock='"free"', goal="hold = 1"), "held in tune for 1 second; 1 bar."),
        (drill_of("4:4 | 5:4", loop='"1-2"'), "Loop: bars 1 to 2, again and again."),
        (drill_of("4:4 | 5:4", loop='"2"'), "Loop: bar 2, again and again."),
        (
            drill_of("4:4", loop='"1"', climb="by = 4\nto = 120"),
            "The tempo climbs by 4 after 2 good passes in a row, up to 120, and steps back after a "
            "miss.",
        ),
        (drill_of("4:4", loop='"1"', climb="by = 4\nto = 120\nafter = 1"), "after each good pass"),
        (TIGHTENING, "Goal: within 10 cents of the target, 20 at first; passed from 80 of 100."),
        (TIGHTENING.at_tolerance(15.0), "within 15 cents of the target, narrowing to 10;"),
        (
            drill_of("4:4", goal="tolerance = 5\nhold = 2\nweights = { time = 0, attack = 30 }"),
            "Goal: within 5 cents of the target; passed from 80 of 100; hold 2 seconds if the "
            "clock is free; unusual weights: attack 30, time 0.",
        ),
    ],
)
def test_the_facts_say_all_that_is_not_usual(drill: Drill, expected: str) -> None:
    assert expected in drill_summary(drill)


def test_what_is_usual_is_not_said() -> None:
    summary = drill_summary(drill_of("4:4"))
    for word in ("swung", "free", "pick-up", "Loop", "climbs", "hold", "weights", "tuning"):
        assert word not in summary


# What holds for every drill

NOTES = st.sampled_from(
    [
        *("4", "-4'", "r", "-2/3", "-3@-40", "-4'>-4", "-3=-3'=-3''", "4>5>6>7>8>9>10"),
        *("-1+2+3+4+5+6+7+8+9+10", "-3@-40=-3'@-40=-3''@-40", "10''>10"),
    ]
)
HOW_LONG = st.sampled_from(["", ":0.5", ":1/3", ":2/3", ":0.25", ":5"])
MANNERS = st.sampled_from(
    ["", "", "", "{blur}", "{vibrato 5.125 20.125}", "{vibrato,wah 2.375,clean}", "{wah}"]
)
WORDS = st.tuples(NOTES, HOW_LONG, MANNERS).map(
    lambda word: "".join(word[:2] if word[0] == "r" else word)
)


def filled(words: list[str], meter: int) -> str:
    """Tab of these words with bar lines where they are due.

    What is too long for a bar is tied over, and a rest fills the last.
    """
    music, left = [], Fraction(meter)
    for word in [*words, "4:1"]:
        note, _, rest = word.partition(":")
        long, _, manner = rest.partition("{")
        if not rest:
            note, _, manner = word.partition("{")
        beats = Fraction(long or 1)
        glued = "{" + manner if manner else ""
        while beats > left:
            music.append(f"{note}:{left}{glued} |")
            note, glued = ("r" if note == "r" else "~"), ""
            beats, left = beats - left, Fraction(meter)
        music.append(f"{note}:{beats}{glued}")
        left -= beats
        if not left:
            music.append("|")
            left = Fraction(meter)
    return " ".join([*music, f"r:{left}"])


DRILLS = st.builds(
    lambda words, second, meter, pickup, free: drill_of(
        ("-2/3:0.5 | " if pickup else "") + filled(words, meter),
        meter=f'"{meter}/4"',
        pickup="0.5" if pickup else "0",
        **({"clock": '"free"'} if free else {}),
        **(
            {"second": f'"""{("r:0.5 | " if pickup else "") + filled(second, meter)}"""'}
            if second and not free
            else {}
        ),
    ),
    st.lists(WORDS, min_size=12, max_size=16),
    st.lists(WORDS, max_size=2),
    st.sampled_from([3, 4, 6]),
    st.booleans(),
    st.booleans(),
)


def rows_of(line: str) -> list[str]:
    """The rows of a line of the page, without its bar number, its bar lines and its directions."""
    rows = [row for row in line.split("\n") if not {"(", ")"} & set(row) and "vibr" not in row]
    return [re.sub(r"^\d+", lambda n: " " * len(n[0]), row).replace("|", " ") for row in rows]


def check(drill: Drill, width: int) -> None:
    """What must hold for every page."""
    text = tab_page_text(drill, width)
    assert max(map(len, drill_text(drill, width).split("\n"))) <= width
    tabs: tuple[list[str], ...] = ([], [])
    counts: list[str] = []
    for line in text.split("\n\n"):
        rows = rows_of(line)
        if drill.ground and re.fullmatch(r"\s*(b?[ivIV]+7?\s+)*", rows[0] + " "):
            rows = rows[1:]  # the chords, over the tab
        music = rows[: 2 if drill.second else 1]
        starts = [{word.start() for word in re.finditer(r"\S+", row)} for row in rows]
        for part, row in zip(tabs, music, strict=False):
            part += [word for word in row.split() if word not in ("r", ".", "solo")]
        for row in rows[len(music) :]:
            counts += row.split()
            assert starts[-1] <= set().union(*starts[:-1])
    for part, steps in zip(tabs, (drill.steps, drill.second), strict=True):
        assert "".join(part) == "".join(written_tab(step).replace(" ", "") for step in steps)
    whole = [int(count) for count in counts if count.isdigit()]
    meter = drill.meter[0]
    beats = range(0) if drill.free else range(math.ceil(drill.start), math.ceil(drill.end))
    assert whole == [beat % meter + 1 for beat in beats]


@given(DRILLS, st.sampled_from([20, 21, 27, 40, 80, 132]))
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_page_fits_and_holds_all_that_is_played(drill: Drill, width: int) -> None:
    check(drill, width)


@each_drill(SHELF)
def test_every_page_of_the_shelf_fits_and_holds_all_that_is_played(drill: Drill) -> None:
    for width in (20, 33, 57, 80):
        check(drill, width)


@each_drill(SHELF)
def test_bars_start_in_the_same_columns_from_line_to_line(drill: Drill) -> None:
    lines = [
        next(row for row in line.split("\n") if "|" in row)
        for line in tab_page_text(drill, 100).split("\n\n")
    ]
    columns = [[match.start() for match in re.finditer(r"\|", row)] for row in lines]
    full = columns[1:] if drill.start else columns
    for bars in full[1:]:
        assert bars == full[0][: len(bars)]
    assert sum(map(len, full)) == drill.bars


# The course


def test_the_course_tells_levels_and_groups_in_order() -> None:
    shelf = read_shelf()
    text = shelf_text(shelf)
    heads = [line for line in text.split("\n") if line and not line.startswith(" ")]
    assert [head.lower() for head in heads] == [skill.lower() for skill in shelf.groups]
    rows = [line.split() for line in text.split("\n") if " level " in line]
    assert [row[0] for row in rows] == [drill.name for drill in shelf.drills]
    assert [int(row[2]) for row in rows] == [drill.level for drill in shelf.drills]


@pytest.mark.parametrize("width", [20, 40, 60, 80, 120])
def test_the_course_fits_and_names_every_drill_and_skill(width: int) -> None:
    text = shelf_text(read_shelf(), width)
    assert max(map(len, text.split("\n"))) <= width
    together = "".join(text.split())
    for drill in SHELF:
        assert "".join(drill.title.split()) in together
        assert all("".join(skill.split()) in together for skill in drill.skills[1:])


def test_a_row_of_the_course() -> None:
    timed = drill_of("4:4", skills='["moves", "leaps", "breath"]', level="3")
    free = drill_of("4:4", clock='"free"', skills='["moves"]', level="4")
    assert shelf_text(Shelf((timed, free), ())) == (
        "Moves\n  t  level 3    90  0:03  T; also leaps, breath\n  t  level 4  free        T"
    )
    assert shelf_text(Shelf((), ())) == "There are no drills on the shelf."


def test_the_course_as_data_has_every_fact() -> None:
    tab = "{call} 4 | 4:4 | {answer} 4:3"
    head = {"pickup": "1", "swing": "2", "loop": '"1-2"', "second": '"""1 | 1:4"""'}
    climb, goal = "by = 4\nto = 99", "hold = 1\nweights = { time = 0 }"
    (entry,) = shelf_data(Shelf((drill_of(tab, climb=climb, goal=goal, **head),), ()))
    assert (entry["clock"], entry["swing"], entry["pickup"], entry["loop"]) == (
        "click",
        2.0,
        1.0,
        (1, 2),
    )
    assert (entry["climb"], entry["hold"]) == ({"by": 4.0, "to": 99.0, "after": 2}, 1.0)
    assert (entry["parts"], entry["calls"], entry["seconds"]) == (
        2,
        True,
        pytest.approx(8 * 2 / 3, abs=1e-3),
    )
    assert isinstance(entry["weights"], dict)
    assert (entry["weights"]["time"], entry["weights"]["pitch"]) == (0.0, 40.0)
    (free,) = shelf_data(Shelf((drill_of("4:4", clock='"free"'),), ()))
    assert (free["clock"], free["seconds"], free["climb"]) == ("free", None, None)
    assert free["tighten"] is None
    (narrowing,) = shelf_data(Shelf((TIGHTENING,), ()))
    assert narrowing["tighten"] == {"start": 20.0, "by": 5.0, "after": 1}
