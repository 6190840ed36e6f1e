"""The commands from outside: their help, what programs rely on, and answers to bad input."""

from __future__ import annotations

import contextlib
import json
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest
import soundfile as sf
import typer

from tests.support.command_line import Trainer
from trainer.cli import app, main
from trainer.cli.exit_codes import ExitCode
from trainer.core.logs import log_file

RATE = 48_000
FAULTS = ("--fault", "2:leak_db=-13", "--fault", "5:cents=-18", "--fault", "3:late_ms=50")


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A saved take of the built-in player, with faults."""
    path = tmp_path_factory.mktemp("takes") / "take.flac"
    command = ["trainer", "play", "harbour-bell", "--plain", "--player", *FAULTS]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", [*command, "--save", str(path)])
        with contextlib.suppress(SystemExit):
            main()
    return path


# --- help -----------------------------------------------------------------------------------


def commands() -> Iterator[tuple[tuple[str, ...], Any]]:
    """Every command with its names, those inside groups too."""

    def below(command: Any, names: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
        yield names, command
        for name, inner in getattr(command, "commands", {}).items():
            yield from below(inner, (*names, name))

    return below(typer.main.get_command(app), ())


LEAVES = [
    (names, command)
    for names, command in commands()
    if not hasattr(command, "commands") or not names
]


def test_the_commands_are_those_of_the_readme() -> None:
    names = {" ".join(names) for names, _ in LEAVES}
    assert names == {
        "",
        "demo",
        "play",
        "listen",
        "mark",
        "compare",
        "report",
        "tab",
        "loop",
        "today",
        "progress",
        "harp chart",
        "harp measure",
        "harp list",
        "harp show",
        "harp forget",
        "harp watch",
        "drill move",
        "drill course",
        "drill export",
        "drill import",
        "drill list",
        "drill show",
        "drill new",
        "drill check",
        "drill fmt",
        "drill schema",
        "sound list",
        "sound check",
        "sound calibrate",
        "journal list",
        "journal show",
        "journal replay",
        "journal export",
        "journal import",
        "journal backup",
        "journal where",
        "doctor",
        "settings show",
        "settings path",
        "settings set",
        "settings unset",
        "settings edit",
    }


@pytest.mark.parametrize(
    ("names", "command"), LEAVES, ids=[" ".join(names) or "trainer" for names, _ in LEAVES]
)
def test_help_has_examples_that_are_right(
    trainer: Trainer, names: tuple[str, ...], command: Any
) -> None:
    answer = trainer(*names, "--help")
    assert answer.code == 0
    examples = re.findall(r"^ +(?:Example: )?(trainer\b.*)$", answer.out, re.MULTILINE)
    assert examples, answer.out
    for example in examples:
        words = shlex.split(example)[1:]
        assert tuple(words[: len(names)]) == names
        command.make_context("trainer", words[len(names) :])  # it parses


def test_the_version_is_the_packages(trainer: Trainer) -> None:
    from importlib.metadata import version

    assert trainer("--version").out == f"trainer {version('harp-trainer')}\n"


# --- interfaces that others rely on ---------------------------------------------------------


NUMBER, OPTIONAL = (int, float), (int, float, type(None))


def assert_fields(data: dict[str, Any], kinds: dict[str, Any]) -> None:
    for name, kind in kinds.items():
        assert isinstance(data[name], kind), (name, data[name])


def test_listen_prints_a_line_per_reading(trainer: Trainer, take: Path) -> None:
    answer = trainer("listen", str(take), "--harp", "C", "--format", "jsonl")
    assert answer.code == 0
    readings = [json.loads(line) for line in answer.out.splitlines()]
    seconds = sf.info(take).duration
    assert len(readings) >= 90 * seconds
    heard = [reading["heard_at"] for reading in readings]
    assert heard == sorted(heard)
    assert heard[-1] <= seconds
    for reading in readings:
        assert_fields(
            reading,
            {
                "time": NUMBER,
                "heard_at": NUMBER,
                "hz": OPTIONAL,
                "level_db": NUMBER,
                "tab": (str, type(None)),
                "cents": OPTIONAL,
                "breath": (str, type(None)),
                "holes": list,
                "clean": (bool, type(None)),
                "leak_db": OPTIONAL,
            },
        )
        assert reading["time"] <= reading["heard_at"]
        assert (reading["hz"] is None) == (reading["tab"] is None)
    silent = [reading for reading in readings if reading["hz"] is None]
    assert silent
    assert all(reading["holes"] == [] for reading in silent)
    # The second step, leaking, over its second half: from beat 1.5 to 1.9 at tempo 96.
    zero = 4 * 60 / 96 + 0.25  # the built-in player's count-in, and its lead
    leaking = [r for r in readings if zero + 1.5 * 0.625 < r["time"] < zero + 1.9 * 0.625]
    assert {(r["tab"], r["breath"], tuple(r["holes"]), r["clean"]) for r in leaking} == {
        ("5", "blow", (4, 5), False)
    }
    assert np.median([r["leak_db"] for r in leaking]) == pytest.approx(-13.0, abs=3.0)
    assert np.median([r["cents"] for r in leaking]) == pytest.approx(0.0, abs=3.0)


def test_tab_gives_a_list_of_notes(trainer: Trainer, take: Path) -> None:
    notes = trainer("tab", str(take), "--harp", "C", "--format", "json").data
    for note in notes:
        assert_fields(
            note,
            {
                "start": NUMBER,
                "end": NUMBER,
                "tab": str,
                "hz": NUMBER,
                "cents": NUMBER,
                "holes": list,
                "clean": bool,
            },
        )
        assert note["start"] < note["end"]
    assert [note["tab"] for note in notes][:5] == ["4", "5", "4", "-4", "-4'"]
    assert notes[1]["holes"] == [4, 5]
    assert not notes[1]["clean"]
    assert notes[4]["cents"] == pytest.approx(-18.0, abs=3.0)


def test_mark_gives_the_steps_with_their_marks(trainer: Trainer, take: Path) -> None:
    result = trainer("mark", str(take), "--drill", "harbour-bell", "--format", "json").data
    assert_fields(result, {"drill": str, "score": NUMBER, "passed": bool, "steps": list})
    assert len(result["steps"]) == 9
    for step in result["steps"]:
        assert_fields(
            step,
            {"index": int, "score": NUMBER, "parts": dict, "measured": dict, "sentence": str},
        )
        assert 0 <= step["score"] <= 100
    measured = [step["measured"] for step in result["steps"]]
    assert measured[1]["leak_db"] == pytest.approx(-13.0, abs=3.0)
    assert measured[1]["leak_hole"] == 4
    assert measured[4]["cents"] == pytest.approx(-18.0, abs=3.0)
    assert measured[2]["late_ms"] == pytest.approx(50.0, abs=15.0)
    assert "too deep (18 cents below" in result["steps"][4]["sentence"]


@pytest.mark.parametrize(
    "options",
    [
        (),
        ("--bars", "2-3"),
        ("--harp", "A", "--temperament", "just5", "--offset=-4=-7"),
    ],
    ids=" ".join,
)
def test_a_saved_take_is_marked_as_it_was_played(
    trainer: Trainer, tmp_path: Path, options: tuple[str, ...]
) -> None:
    save = str(tmp_path / "take.flac")
    played = trainer(
        "play", "harbour-bell", "--plain", "--player", *FAULTS, "--save", save, *options
    )
    assert played.code == 0
    marked = trainer("mark", save, "--drill", "harbour-bell")
    assert marked.code == 0
    table = marked.out.splitlines()
    assert "too deep" in marked.out
    assert played.out.splitlines()[-1 - len(table) : -1] == table


def test_a_take_of_a_drill_that_tightens_is_marked_as_it_was_played(
    trainer: Trainer, tmp_path: Path
) -> None:
    save, fault = str(tmp_path / "take.flac"), ("--fault", "3:cents=22")
    played = trainer("play", "half-step-on-four", "--plain", "--player", *fault, "--save", save)
    assert "±25" in played.out
    marked, narrow = (
        trainer("mark", save, "--drill", "half-step-on-four", "--format", "json", *options).data
        for options in ((), ("--tolerance", "15"))
    )
    assert (marked["tolerance_cents"], narrow["tolerance_cents"]) == (25.0, 15.0)
    assert marked["steps"][2]["score"] > narrow["steps"][2]["score"]


def test_a_given_start_is_the_only_pass(trainer: Trainer, take: Path) -> None:
    answer = trainer(
        "mark", str(take), "--drill", "harbour-bell", "--start", "2.65", "--format", "json"
    )
    assert len(answer.data["passes"]) == 1
    assert answer.data["steps"][0]["measured"]["late_ms"] == pytest.approx(100.0, abs=15.0)


# --- bad input ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def bad(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of files that are wrong."""
    folder = tmp_path_factory.mktemp("bad")
    tone = 0.3 * np.sin(2 * np.pi * 523.25 * np.arange(RATE) / RATE)
    sf.write(folder / "tone.wav", tone, RATE)
    sf.write(folder / "tone.flac", tone, RATE)
    sf.write(folder / "silence.wav", 0.0 * tone, RATE)
    sf.write(folder / "clipped.wav", np.clip(6.0 * tone, -1.0, 1.0), RATE)
    broken = tone.copy()
    broken[1000:1010] = np.nan
    sf.write(folder / "nan.wav", broken, RATE, subtype="FLOAT")
    (folder / "empty.wav").touch()
    (folder / "letter.wav").write_text("Dear evening class,\n" * 50)
    for name in ("tone.wav", "tone.flac"):
        (folder / f"cut-{name}").write_bytes((folder / name).read_bytes()[:9000])
    (folder / "wrong.toml").write_text(
        "title = \"Wrong\"\nharp = \"C\"\ntempo = 80\ntab = '''\n4:1 -4'':1 | 5:x |\n'''\n"
    )
    return folder


BAD_RECORDINGS = {
    "missing.wav": "there is no recording missing.wav; check the name and the folder",
    "empty.wav": "empty.wav is an empty file; record it again",
    "letter.wav": "letter.wav is not audio that can be read; use WAV, FLAC, OGG or MP3",
    ".": r"\. is a folder; name a recording inside it",
}


READERS = [("listen",), ("tab",), ("mark", "--drill", "harbour-bell")]


@pytest.mark.parametrize(
    ("name", "words"),
    # A folder is marked, recording by recording.
    [(n, w) for n in BAD_RECORDINGS for w in READERS if (n, w[0]) != (".", "mark")],
)
def test_an_unreadable_recording_is_reported(
    trainer: Trainer, bad: Path, monkeypatch: pytest.MonkeyPatch, name: str, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(bad)
    answer = trainer(words[0], name, *words[1:])
    assert answer.code == ExitCode.BAD_INPUT
    assert re.fullmatch(BAD_RECORDINGS[name] + r"\n", answer.err)


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("silence.wav", "silence.wav: check that the right input was recorded: it is silent "),
        ("nan.wav", "nan.wav: 10 of its samples are not numbers, the first at 0.0 s; they are "),
        ("clipped.wav", r"clipped.wav: record at a lower level: it is clipped in \d+ places, the "),
        ("cut-tone.wav", "cut-tone.wav: the recording was cut off; what comes before was used"),
        (
            "cut-tone.flac",
            r"cut-tone.flac: the recording is damaged: it cannot be read beyond 0\.\d s of 1\.0 s; "
            "what comes before was used",
        ),
    ],
)
def test_a_damaged_recording_is_used_as_far_as_possible(
    trainer: Trainer, bad: Path, monkeypatch: pytest.MonkeyPatch, name: str, sentence: str
) -> None:
    monkeypatch.chdir(bad)
    answer = trainer("listen", name, "--format", "jsonl")
    assert answer.code == 0
    assert re.match(sentence, answer.err)
    assert answer.err.count("\n") == 1
    heard = {json.loads(line)["tab"] for line in answer.out.splitlines()}
    assert heard <= {None, "4"}
    assert ("4" in heard) == (name != "silence.wav")


@pytest.mark.parametrize(
    ("command", "sentence"),
    [
        ("play nowhere", "no drill is called 'nowhere'; 'trainer drill list' shows all"),
        ("play harbour-bel", "no drill is called 'harbour-bel'; perhaps harbour-bell"),
        ("play harbour-bell --harp H", "no harp has the key 'H'; the keys are G Ab A .*"),
        ("harp C --tuning lute", "no tuning is called 'lute'; there are richter, .*"),
        ("harp C --temperament odd", "no temperament is called 'odd'; there are equal, .*"),
        ("harp C --a4 300", "A4 = 300 Hz is out of range; .*"),
        ("harp C --position 13", "there is no position 13; positions run from 1 to 12"),
        ("harp C --offset 4=900", "an offset of 900 cents for 4 is out of range; .*"),
        ("tab tone.wav --offset nonsense", "'nonsense' is not an offset; write tab, .*"),
        ("tab tone.wav --channel 2", "tone.wav has no channel 2; it has 1, counted from 1"),
        (
            "play harbour-bell --player --plain --tuning solo",
            "-4' cannot be played on a C, solo harp: hole 4 .*",
        ),
        ("play bends-that-wait --player --follow", "bends-that-wait has no beat .*"),
        ("play harbour-bell --player --plain --bars 9", "harbour-bell has bars 1 to 4; .*"),
        ("play harbour-bell --fault 1:cents=3", "--fault needs the built-in player; .*"),
        ("play harbour-bell --player --fault 1:colour=3", "'1:colour=3' is not a fault; .*"),
        ("play harbour-bell --player --fault 1:cents=nan", "'1:cents=nan' is not a fault; .*"),
        ("play harbour-bell --player --plain --save t.wav", "takes are saved as FLAC; .*"),
        ("play harbour-bell --player --plain --save no/t.flac", "there is no folder no to .*"),
        ("play harbour-bell --player --plain --save tone.flac", "tone.flac exists already; .*"),
        ("mark tone.wav --drill harbour-bell", "harbour-bell cannot be found in the .*"),
        ("mark silence.wav --drill harbour-bell", "no note is heard in the recording; .*"),
        ("mark tone.wav --drill harbour-bell --start nan", "the drill's first beat cannot .*"),
        (
            "mark cut-tone.flac --drill harbour-bell",
            r"harbour-bell cannot be found .* \(the recording is damaged: it cannot be read beyond "
            r"0\.\d s of 1\.0 s\)",
        ),
        ("tab tone.wav --from 5 --to 2", "--to 2 is not after --from 5; let the passage end .*"),
        ("loop tone.wav --from 5 --to 2", "--to 2 is not after --from 5; let the passage end .*"),
        ("tab tone.wav --out x.docx", r"'x\.docx' has no known format; end it in \.txt, .*"),
        ("journal export --out x.docx", r"'x\.docx' has no known format; end it in \.jsonl, \.csv"),
    ],
)
def test_invalid_values_are_reported_in_a_sentence(
    trainer: Trainer, bad: Path, monkeypatch: pytest.MonkeyPatch, command: str, sentence: str
) -> None:
    monkeypatch.chdir(bad)
    before = (bad / "tone.flac").read_bytes()
    answer = trainer(*shlex.split(command, posix=False))
    assert answer.code == ExitCode.BAD_INPUT
    assert re.fullmatch(sentence + r"\n", answer.err)
    assert answer.out == ""
    assert (bad / "tone.flac").read_bytes() == before


@pytest.mark.parametrize(
    "command",
    [
        "nonsense",
        "play",
        "mark take.flac",
        "play harbour-bell --tempo 5",
        "play harbour-bell --bars x-y",
        "harp C --a4 sharp",
        "tab take.flac --format xml",
    ],
)
def test_a_wrong_command_line_points_to_its_help(trainer: Trainer, command: str) -> None:
    answer = trainer(*command.split())
    assert answer.code == ExitCode.USAGE
    assert re.search(r"^Try 'trainer.* --help' for help\.$", answer.err, re.MULTILINE)
    assert re.search(r"^Error: .+", answer.err, re.MULTILINE)


def test_errors_in_a_drill_are_reported_together_with_their_places(
    trainer: Trainer, bad: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bad)
    played = trainer("play", "./wrong.toml", "--player", "--plain")
    assert played.code == ExitCode.BAD_INPUT
    places = re.findall(r"^wrong\.toml:(\d+):(\d+): ", played.err, re.MULTILINE)
    assert places == [("5", "5"), ("5", "12"), ("5", "14")]
    assert "\n    4:1 -4'':1 | 5:x |\n        ^^^^^^\n" in played.err

    checked = trainer("drill", "check", "wrong.toml")
    assert checked.code == ExitCode.FAILED
    assert checked.out.startswith(played.err.rstrip())
    assert checked.out.endswith("0 of 1 drill files are valid.\n")


# --- no sound -------------------------------------------------------------------------------


LIVE = ["play harbour-bell --plain", "listen --format text", "sound check"]


@pytest.mark.parametrize("command", LIVE)
def test_a_missing_microphone_is_reported(
    trainer: Trainer, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    none = ModuleType("sounddevice")
    none.query_hostapis = list  # type: ignore[attr-defined]
    none.query_devices = list  # type: ignore[attr-defined]
    none.default = SimpleNamespace(device=(-1, -1))  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "sounddevice", none)
    answer = trainer(*command.split())
    assert answer.code == ExitCode.NO_SOUND
    assert answer.err == (
        "this computer has no microphone or other input; connect one and try again\n"
    )


@pytest.mark.parametrize("command", [*LIVE, "sound list"])
def test_missing_portaudio_is_reported_with_the_package_to_install(
    trainer: Trainer, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    # As on a system without it: the module looks for the library when it is first imported.
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr("ctypes.util.find_library", lambda name: None)
    monkeypatch.setattr("platform.system", lambda: "Linux")
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setattr("platform.freedesktop_os_release", lambda: {"ID": "debian"})
    answer = trainer(*command.split())
    assert answer.code == ExitCode.NO_SOUND
    assert answer.err == (
        "live sound needs the PortAudio library, which this computer does not have; install it "
        "with: sudo apt install libportaudio2\n"
    )


def test_the_demo_needs_no_sound_at_all(trainer: Trainer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    answer = trainer("demo")
    assert answer.code == 0
    assert re.search(r"^  2  5 +\d+  hole 4 leaking, 1[234] dB down$", answer.out, re.MULTILINE)
    assert re.search(r"^Total \d+ of 100, (not )?passed", answer.out, re.MULTILINE)


# --- without a terminal ---------------------------------------------------------------------


def test_the_app_without_a_terminal_is_reported(trainer: Trainer) -> None:
    answer = trainer()
    assert answer.code == ExitCode.USAGE
    assert answer.err == (
        "the live screen needs a terminal; use 'trainer today' for the daily set as text, "
        "'trainer demo --plain' for a drill, 'trainer --help' for all commands\n"
    )


def test_a_closed_pipe_ends_it_quietly(take: Path) -> None:
    command = [sys.executable, "-m", "trainer", "listen", str(take), "--format", "jsonl"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stderr is not None
    json.loads(process.stdout.readline())
    process.stdout.close()
    assert process.stderr.read() == ""
    process.stderr.close()
    assert process.wait(30) == ExitCode.FAILED


def test_help_answers_without_loading_what_it_does_not_need() -> None:
    code = "import sys, trainer.cli; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert not loaded & {"numpy", "pydantic", "textual", "aubio", "sounddevice", "soundfile"}


def test_an_internal_error_is_reported_and_logged(
    trainer: Trainer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TRAINER_DEBUG", raising=False)

    def fail(*_: object) -> None:
        raise ZeroDivisionError("a wall fell in")

    monkeypatch.setattr("trainer.drill.read_shelf", fail)
    answer = trainer("drill", "list")
    assert answer.code == ExitCode.INTERNAL
    assert answer.err.startswith(
        "internal error (ZeroDivisionError: a wall fell in); please report"
    )
    log = log_file().read_text()
    assert "ERROR trainer.cli: unexpected error" in log
    assert "Traceback" in log
