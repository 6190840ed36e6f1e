"""The fields of a drill file: their types and ranges, and messages about wrong ones."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    model_validator,
)

from trainer.core.toml_values import describe_value, parsable_by
from trainer.drill.aim import GROUPS, is_group
from trainer.drill.model import AIM_CRITERIA, CRITERIA, DEFAULT_WEIGHTS, Goal
from trainer.drill.recording import MAX_BEATS, MIN_BEAT_S, MIN_BEATS
from trainer.drill.solo import SoloBrief
from trainer.harp import load_tuning, parse_key
from trainer.music import SCALES


def _without_controls(text: str) -> str:
    if any(unicodedata.category(c) == "Cc" and c not in "\n\t" for c in text):
        raise ValueError("remove the control characters from the text")
    return text


ShortText = Annotated[
    str, Field(max_length=80, pattern=r"^[^\n]*\S[^\n]*$"), AfterValidator(_without_controls)
]


"""A non-empty line of text, up to 80 characters."""

MAX_FIELD_PROBLEMS = 200
"""Maximum number of problems; there are fewer fields, and suggesting similar names is slow."""
_DEFAULT_GOAL = Goal()
_DEFAULT_BRIEF = SoloBrief("major")


class _Table(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


def _weight(criterion: str) -> Any:
    return Field(
        default=DEFAULT_WEIGHTS[criterion],
        ge=0,
        le=100,
        description=f"the weight of {criterion} in a step's mark, a number from 0 to 100",
    )


class WeightsTable(_Table):
    """The ``[goal.weights]`` table."""

    pitch: float = _weight("pitch")
    steadiness: float = _weight("steadiness")
    attack: float = _weight("attack")
    motion: float = _weight("motion")
    cleanness: float = _weight("cleanness")
    time: float = _weight("time")
    articulation: float = _weight("articulation")
    dynamics: float = _weight("dynamics")

    @model_validator(mode="after")
    def _check_sum(self) -> WeightsTable:
        if not any(getattr(self, criterion) for criterion in CRITERIA):
            raise ValueError("make at least one weight larger than 0")
        return self


def _ascending(beats: list[float]) -> list[float]:
    for before, after in pairwise(beats):
        if after - before < MIN_BEAT_S:
            raise ValueError(
                f"the beats of a recording ascend by {MIN_BEAT_S:g} s or more; "
                f"{after:g} does not after {before:g}"
            )
    return beats


class ClimbTable(_Table):
    """The ``[climb]`` table."""

    by: float = Field(
        ge=1, le=60, description="the rise or fall in beats per minute, a number from 1 to 60"
    )
    after: int = Field(
        default=2,
        ge=1,
        le=20,
        description="successive passes at pass mark before a rise, a whole number from 1 to 20",
    )
    to: float = Field(ge=20, le=300, description="the maximum tempo, a number from 20 to 300")


class TightenTable(_Table):
    """The ``[tighten]`` table."""

    start: float = Field(
        alias="from",
        ge=1,
        le=50,
        description="the tolerance of a new player in cents, a number from 1 to 50",
    )
    by: float = Field(
        ge=1, le=49, description="the cents by which it narrows, a number from 1 to 49"
    )
    after: int = Field(
        default=1,
        ge=1,
        le=20,
        description="passes at a tolerance before it narrows, a whole number from 1 to 20",
    )


class GoalTable(_Table):
    """The ``[goal]`` table."""

    tolerance: float = Field(
        default=_DEFAULT_GOAL.tolerance,
        ge=1,
        le=50,
        description="the distance in cents that counts as in tune, a number from 1 to 50",
    )
    pass_mark: float = Field(
        default=_DEFAULT_GOAL.pass_mark,
        ge=0,
        le=100,
        description="the minimum total to pass the drill, a number from 0 to 100",
    )
    hold: float = Field(
        default=_DEFAULT_GOAL.hold,
        ge=0.1,
        le=10,
        description="the seconds to hold each step in tune under a free clock, 0.1 to 10",
    )
    weights: WeightsTable = Field(
        default_factory=WeightsTable,
        description="a table, [goal.weights] with any of " + ", ".join(CRITERIA),
    )


def _known_group(name: str) -> str:
    if not is_group(name):
        near = get_close_matches(name, GROUPS, n=1)
        known = f"there are {', '.join(GROUPS)}, and bars such as 'bars 3-4'"
        hint = f"did you mean '{near[0]}'?" if near else known
        raise ValueError(f"no steps are called '{name}'; {hint}")
    return name


Groups = Annotated[list[Annotated[str, AfterValidator(_known_group)]], Field(max_length=20)]


def _groups(criterion: str) -> Any:
    return Field(
        default=[],
        description=f'a list of the steps whose {criterion} the drill is for, as ["bends"]',
    )


class AimTable(_Table):
    """The ``[aim]`` table: for each criterion, the steps on which it is the point of the drill."""

    pitch: Groups = _groups("pitch")
    steadiness: Groups = _groups("steadiness")
    attack: Groups = _groups("attack")
    motion: Groups = _groups("motion")
    cleanness: Groups = _groups("cleanness")
    time: Groups = _groups("time")
    articulation: Groups = _groups("articulation")
    dynamics: Groups = _groups("dynamics")
    holes: Groups = _groups("holes")
    scale: Groups = _groups("scale")
    harmony: Groups = _groups("harmony")
    phrases: Groups = _groups("phrases")
    range: Groups = _groups("range")
    variety: Groups = _groups("variety")


class GroundTable(_Table):
    """The ``[ground]`` table: what the trainer plays under the drill."""

    chords: str = Field(
        max_length=20_000,
        description='chords bar by bar, such as "I7 | IV7 | I7 V7 |"; % repeats a bar',
    )
    play: Literal["drone", "bass", "chords"] = Field(
        default="chords",
        description='"drone" for root and fifth held, "bass" for a line of one note a beat, or '
        '"chords" for the root on strong beats and the chord on the others',
    )


class SoloTable(_Table):
    """The ``[solo]`` table: what is asked where the tab says ``solo``."""

    scale: Literal[
        "major",
        "mixolydian",
        "lydian",
        "dorian",
        "natural minor",
        "phrygian",
        "harmonic minor",
        "major pentatonic",
        "minor pentatonic",
        "blues",
    ] = Field(description="one of " + ", ".join(f'"{name}"' for name in SCALES))
    phrase: float = Field(
        default=_DEFAULT_BRIEF.phrase_bars,
        ge=0.5,
        le=8,
        description="the longest phrase in bars, a number from 0.5 to 8",
    )
    rest: float = Field(
        default=_DEFAULT_BRIEF.rest_beats,
        ge=0.5,
        le=8,
        description="the shortest rest between phrases in beats, a number from 0.5 to 8",
    )
    range: int = Field(
        default=_DEFAULT_BRIEF.range_half_steps,
        ge=3,
        le=36,
        description="the least range of the notes in half steps, a whole number from 3 to 36",
    )
    division: int = Field(
        default=_DEFAULT_BRIEF.division,
        ge=1,
        le=6,
        description="the parts of a beat on which notes may begin, a whole number from 1 to 6",
    )
    bends_off: int = Field(
        default=_DEFAULT_BRIEF.bends_off,
        ge=0,
        le=100,
        description="the bends that may be out of tune, a whole number from 0 to 100",
    )


NoteNumbers = Annotated[
    list[Annotated[int, Field(ge=1, le=MAX_BEATS)]], Field(max_length=MAX_BEATS)
]


class RecordingTable(_Table):
    """The ``[recording]`` table."""

    file: Annotated[
        str, Field(min_length=1, max_length=1000), AfterValidator(_without_controls)
    ] = Field(description="the recording's path: beside the drill file, or absolute")
    beats: Annotated[
        list[Annotated[float, Field(ge=-600, le=36_000)]],
        Field(min_length=MIN_BEATS, max_length=MAX_BEATS),
        AfterValidator(_ascending),
    ] = Field(description="the seconds of its beats, ascending, such as [0.52, 1.07, 1.61]")
    first: int = Field(
        default=0,
        ge=-1000,
        le=10_000,
        description="the drill's number of the first of these beats, counted from 0 at bar 1",
    )
    channel: int | None = Field(
        default=None, ge=1, le=64, description="the channel to play, from 1; without it, a mix"
    )
    fade: float = Field(
        default=0,
        ge=0,
        le=60,
        description="the dB by which the harp in it is turned down, a number from 0 to 60",
    )
    doubtful: NoteNumbers = Field(
        default=[],
        description="the numbers of the notes to be checked by ear, from 1, such as [3, 17]",
    )
    second_doubtful: NoteNumbers = Field(
        default=[], description="the same of the second part, such as [2]"
    )


BAR_RANGE_PATTERN = r"^[1-9][0-9]{0,3}(-[1-9][0-9]{0,3})?$"
BarRange = Annotated[str, Field(pattern=BAR_RANGE_PATTERN)]
SectionName = Annotated[str, Field(pattern=r"^[A-Za-z][\w -]{0,29}$")]
RemarkPlace = Annotated[str, Field(pattern=r"^bar [1-9][0-9]{0,3}( note [1-9][0-9]{0,2})?$")]
ShortRemark = Annotated[
    str, Field(max_length=200, pattern=r"^[^\n]*\S[^\n]*$"), AfterValidator(_without_controls)
]
"""A line of text, up to 200 characters."""


class DrillTable(_Table):
    """The whole file."""

    title: ShortText = Field(
        description='one line of text, up to 80 characters, such as "First notes"'
    )
    about: Annotated[str, AfterValidator(_without_controls)] = Field(
        default="",
        max_length=2000,
        description="text: what it trains, how it feels when right, what usually goes wrong",
    )
    harp: Annotated[str, parsable_by(parse_key)] = Field(
        description='the key of its harp, such as "C" or "low F"'
    )
    tuning: Annotated[str, parsable_by(load_tuning)] = Field(
        default="richter", description='the name of the harp\'s tuning, such as "richter"'
    )
    tempo: float = Field(ge=20, le=300, description="the beats per minute, a number from 20 to 300")
    tempo_to: float | None = Field(
        default=None,
        ge=20,
        le=300,
        description="the beats per minute at the end, reached evenly, a number from 20 to 300",
    )
    meter: str = Field(
        default="4/4",
        pattern=r"^([1-9]|[12][0-9]|3[0-2])/(1|2|4|8|16|32)$",
        description='the beats per bar and the note value of a beat, such as "4/4" or "6/8"',
    )
    skills: list[ShortText] = Field(
        default=[],
        max_length=12,
        description='a list of skills, the main one first, such as ["single notes"]',
    )
    level: int = Field(
        default=1,
        ge=1,
        le=9,
        description="the level in the course, a whole number from 1 to 9",
    )
    pickup: float = Field(
        default=0,
        ge=0,
        le=31,
        description="the beats before the first full bar, a number from 0 to less than a bar",
    )
    swing: float = Field(
        default=1,
        ge=1,
        le=3,
        description="the first half of a beat over the second, from 1 (straight) over 2 "
        "(triplets) to 3",
    )
    clock: Literal["click", "free"] = Field(
        default="click",
        description='"click" to play in time, or "free" for steps that wait until they are held '
        "in tune",
    )
    loop: str | None = Field(
        default=None,
        pattern=BAR_RANGE_PATTERN,
        description='the bars to repeat, such as "3-4", or "3" for one bar',
    )
    climb: ClimbTable | None = Field(
        default=None, description="a table, [climb] with by, to and after, for a loop"
    )
    tighten: TightenTable | None = Field(
        default=None,
        description="a table, [tighten] with from, by and after, for a tolerance that narrows",
    )
    goal: GoalTable = Field(
        default_factory=GoalTable,
        description="a table, [goal] with tolerance, pass_mark, hold and weights",
    )
    aim: AimTable = Field(
        default_factory=AimTable,
        description="a table, [aim] with any of " + ", ".join(AIM_CRITERIA),
    )
    position: int | None = Field(
        default=None,
        ge=1,
        le=12,
        description="the position of the music, a whole number from 1 to 12",
    )
    ground: GroundTable | None = Field(
        default=None, description="a table, [ground] with chords and play"
    )
    solo: SoloTable | None = Field(
        default=None,
        description="a table, [solo] with scale, phrase, rest, range, division and bends_off",
    )
    sections: Annotated[dict[SectionName, BarRange], Field(max_length=40)] = Field(
        default={}, description='a table, [sections] with names and bars, such as verse = "1-4"'
    )
    remarks: Annotated[dict[RemarkPlace, ShortRemark], Field(max_length=200)] = Field(
        default={},
        description='a table, [remarks] with places and words, such as "bar 3" = "Breathe out."',
    )
    recording: RecordingTable | None = Field(
        default=None,
        description="a table, [recording] with file, beats and first, to be played along with",
    )
    second: str | None = Field(default=None, description='the other part, tab between """ and """')
    tab: str = Field(description='the music, tab between """ and """, such as -4:1 4:1 r:2')


@dataclass(frozen=True, slots=True)
class FieldProblem:
    """A problem with one field.

    Attributes:
        path: the field and the tables that contain it.
        kind: ``missing``, ``unknown`` (no such field) or ``value``.
        message: what is wrong and what is expected.
    """

    path: tuple[str, ...]
    kind: str
    message: str


def validate_table(data: Mapping[str, Any]) -> tuple[DrillTable | None, tuple[FieldProblem, ...]]:
    """Validate the fields of a drill file.

    Args:
        data: the file's tables from a TOML reader.

    Returns:
        The fields, None if they are wrong; and all problems with them.
    """
    try:
        return DrillTable.model_validate(data), ()
    except ValidationError as error:
        problems: dict[tuple[str, ...], FieldProblem] = {}
        for detail in error.errors(include_url=False)[:MAX_FIELD_PROBLEMS]:
            path = tuple(part for part in detail["loc"] if isinstance(part, str))
            problems.setdefault(
                path, _field_problem(path, detail["type"], detail["input"], detail["msg"])
            )
        return None, tuple(problems.values())


_TABLES: Mapping[tuple[str, ...], type[_Table]] = {
    (): DrillTable,
    ("goal",): GoalTable,
    ("goal", "weights"): WeightsTable,
    ("climb",): ClimbTable,
    ("tighten",): TightenTable,
    ("aim",): AimTable,
    ("recording",): RecordingTable,
    ("ground",): GroundTable,
    ("solo",): SoloTable,
}


_NAMED = {
    "sections": ("a word or two, up to 30 characters", "bars, such as 1-4, or 3 for one bar"),
    "remarks": ("a bar, or a note in it: bar 3, bar 3 note 2", "a line of up to 200 characters"),
}
"""Tables whose keys the file chooses: what a key and a value of each is."""


def _field_problem(path: tuple[str, ...], kind: str, value: object, message: str) -> FieldProblem:
    if kind == "value_error":
        return FieldProblem(path, "value", message.removeprefix("Value error, "))
    if path[0] in _NAMED and len(path) > 1:
        key, what = _NAMED[path[0]]
        about = f"a name in [{path[0]}] is {key}" if "[key]" in path else f"'{path[1]}' is {what}"
        return FieldProblem(path[:2], "value", f"{about}; {describe_value(value)} is not")
    *above, name = path
    table = _TABLES[tuple(above)]
    fields = {field.alias or key: field for key, field in table.model_fields.items()}
    if kind == "extra_forbidden":
        near = get_close_matches(name, fields, n=1)
        hint = f"did you mean '{near[0]}'?" if near else "there are " + ", ".join(fields)
        where = f"[{'.'.join(above)}]" if above else "a drill"
        return FieldProblem(path, "unknown", f"{where} has no field '{name}'; {hint}")
    expected = fields[name].description
    if kind == "missing":
        return FieldProblem(path, "missing", f"'{'.'.join(path)}' is missing; add {expected}")
    return FieldProblem(
        path, "value", f"'{name}' must be {expected}; {describe_value(value)} is not"
    )
