"""The settings: reading, reported problems, and what a change leaves alone."""

from __future__ import annotations

import json
import os
import stat
import sys
import tomllib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st

from tests.support.command_line import Answer, runner
from trainer.cli.exit_codes import ExitCode
from trainer.cli.options import count_in_beats, harp_from_options, microphone_spec
from trainer.harp import STANDARD_KEYS, Harp, tuning_names
from trainer.music import TEMPERAMENTS
from trainer.settings import SettingsError, load_settings, resolve_settings, settings_path
from trainer.settings.tables import ENVIRONMENT_VARIABLES, SETTING_KEYS, SettingKey, login_name
from trainer.settings.validation import validate_settings
from trainer.settings.writer import (
    create_settings_file,
    parse_setting_key,
    set_setting,
    settings_template,
    unset_setting,
)

DEFAULTS: dict[str, Any] = {
    "player.name": login_name(),
    "practice.minutes": 20.0,
    "practice.count_in": None,
    "practice.hands_free": False,
    "practice.follow": False,
    "harp.key": None,
    "harp.name": None,
    "harp.tuning": "richter",
    "harp.a4": 440.0,
    "harp.temperament": "equal",
    "harp.naturals": "temperament",
    "harp.bends": "temperament",
    "sound.device": None,
    "sound.output": None,
    "sound.channel": None,
    "sound.latency_ms": None,
    "sound.clicks": True,
    "sound.ground": True,
    "sound.ground_db": 0.0,
    "journal.file": None,
    "journal.keep_audio": False,
    "journal.audio_mb": 500.0,
    "screen.theme": "dark",
    "screen.motion": "full",
}
WHOLE_PATH = str(Path("/harbour" if os.name != "nt" else "C:\\harbour") / "evening.sqlite")
SAMPLES: dict[str, tuple[str, Any]] = {
    "player.name": ('Marit "of the quay" \\ Ås', 'Marit "of the quay" \\ Ås'),
    "practice.minutes": ("12.5", 12.5),
    "practice.count_in": ("3", 3),
    "practice.hands_free": ("yes", True),
    "practice.follow": ("on", True),
    "harp.key": ("low F", "low F"),
    "harp.name": ("old C", "old C"),
    "harp.tuning": ("raised-third-blow", "raised-third-blow"),
    "harp.a4": ("443", 443.0),
    "harp.temperament": ("just7", "just7"),
    "harp.naturals": ("reeds", "reeds"),
    "harp.bends": ("reeds", "reeds"),
    "sound.device": ("USB mic", "USB mic"),
    "sound.output": ("2", "2"),
    "sound.channel": ("2", 2),
    "sound.latency_ms": ("31.25", 31.25),
    "sound.clicks": ("no", False),
    "sound.ground": ("off", False),
    "sound.ground_db": ("-6", -6.0),
    "journal.file": (WHOLE_PATH, Path(WHOLE_PATH)),
    "journal.keep_audio": ("true", True),
    "journal.audio_mb": ("80", 80.0),
    "screen.theme": ("light", "light"),
    "screen.motion": ("reduced", "reduced"),
}
OWN = """\
# Ours, for the evening class.
title_of_nothing = 1   # left from another day

[sound]     # at home
latency_ms = 31.5   # by hand,\ttwice
device='USB'  # the small one

# I tried this:
#clicks = true, but it was too loud

[harp]
tuning = "solo"
#a4 = 442
"""


@pytest.fixture(autouse=True)
def nothing_set(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in os.environ if name.startswith("TRAINER_")]:
        monkeypatch.delenv(name)


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The settings file of this test, which is not there yet."""
    path = tmp_path / "config" / "settings.toml"
    monkeypatch.setenv("TRAINER_SETTINGS", str(path))
    return path


@pytest.fixture
def trainer(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Callable[..., Answer]:
    """Runs a command in this process; gives its exit code, output and errors."""
    return runner(monkeypatch, capfd)


def value(path: Path | None, key: str) -> Any:
    table, name = key.split(".")
    return getattr(getattr(load_settings(path), table), name)


def written(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode("utf-8"))
    return path


# --- reading --------------------------------------------------------------------------------


def test_without_a_file_all_is_as_usual_and_nothing_is_written(
    file: Path, trainer: Callable[..., Answer]
) -> None:
    assert {".".join(key): value(None, ".".join(key)) for key in SETTING_KEYS} == DEFAULTS
    assert trainer("settings", "path")[1].strip() == str(file)
    assert "missing" in trainer("settings", "show")[1]
    assert trainer("settings", "unset", "harp.key")[0] == 0
    assert not file.parent.exists()


def test_without_a_variable_the_file_is_in_the_users_config_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if sys.platform != "linux":
        pytest.skip("the folder's variable is Linux's")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert settings_path() == tmp_path / "trainer" / "settings.toml"


def test_the_starter_tells_of_every_setting_and_sets_none(file: Path) -> None:
    assert create_settings_file(file)
    assert not create_settings_file(file)
    source = file.read_text("utf-8")
    resolved = resolve_settings(file)
    assert not resolved.problems
    assert not resolved.origins
    lines = source.split("\n")
    assert max(map(len, lines)) <= 100
    for table, name in SETTING_KEYS:
        section = source.split(f"[{table}]\n")[1].split("\n\n")[0].split("\n")
        (number,) = [n for n, line in enumerate(section) if line.startswith(f"#{name} = ")]
        assert section[number - 1].startswith("# ")
        assert ENVIRONMENT_VARIABLES.get((table, name), "") in section[number - 1]
    taken = "\n".join(line[1:] if line[:1] == "#" and line[1:2] != " " else line for line in lines)
    shown = resolve_settings(written(file, taken))
    assert not shown.problems
    assert tuple(shown.origins) == SETTING_KEYS
    for key, usual in DEFAULTS.items():
        assert usual is None or value(file, key) == usual


@pytest.mark.parametrize("key", sorted(SAMPLES))
def test_every_setting_can_be_set_read_and_unset(file: Path, key: str) -> None:
    text, wanted = SAMPLES[key]
    assert set_setting(file, parse_setting_key(key), text) == wanted
    assert value(file, key) == wanted
    assert resolve_settings(file).origins == {parse_setting_key(key): "file"}
    (changed,) = set(file.read_text("utf-8").split("\n")) - set(settings_template().split("\n"))
    assert changed.startswith(key.split(".")[1] + " = ")
    assert unset_setting(file, parse_setting_key(key))
    assert file.read_text("utf-8") == settings_template()
    assert not unset_setting(file, parse_setting_key(key))


def test_the_samples_are_of_every_setting() -> None:
    assert set(SAMPLES) == set(DEFAULTS) == {".".join(key) for key in SETTING_KEYS}


@pytest.mark.parametrize(
    ("text", "place", "hint"),
    [
        ("[sound]\ndevise = 'x'\n", ":2:1:", "did you mean 'sound.device'?"),
        ("[sound]\n\nlatency = 3\n", ":3:1:", "did you mean 'sound.latency_ms'?"),
        ("[harp]\nclicks = true\n", ":2:1:", "did you mean 'sound.clicks'?"),
        ("a4 = 442\n[harp]\n", ":1:1:", "did you mean 'harp.a4'?"),
        ("\n  [practise]\nminutes = 4\n", ":2:4:", "did you mean 'practice'?"),
        ("[harp]\nqqqq = 1\n", ":2:1:", "there are key, name, tuning"),
        ("zzzz = 1\n", ":1:1:", "there are player, practice, harp"),
        ('screen."th\tem\te" = 1\n', ":1:1:", "did you mean 'screen.theme'?"),
    ],
)
def test_an_unknown_name_is_reported_with_its_place_and_the_nearest_one(
    file: Path, text: str, place: str, hint: str
) -> None:
    (problem,) = resolve_settings(written(file, text)).problems
    assert problem.startswith(f"{file}{place} there is no ")
    assert hint in problem
    assert "^" in problem.split("\n")[2]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("practice.minutes = 'long'", 'a number from 1 to 480; "long" is not'),
        ("practice.minutes = nan", "a number from 1 to 480; nan is not"),
        ("practice.count_in = 2.5", "a whole number from 1 to 16; 2.5 is not"),
        ("harp.key = 'H'", "no harp has the key 'H'"),
        ("harp.a4 = 339", "a number from 400 to 480; 339 is not"),
        ("harp.tuning = 'nobody'", "no tuning is called 'nobody'"),
        ("harp.temperament = 'meantone'", "'meantone'"),
        ("harp.bends = 'reed'", '"temperament" or "reeds"'),
        ("sound.device = ['a', 'b']", "or number; a list is not"),
        ("sound.device = true", "or number; true is not"),
        ("sound.channel = 0", "a whole number from 1; 0 is not"),
        ("sound.clicks = 'yes'", "'sound.clicks' must be true or false; \"yes\" is not"),
        ("sound.latency_ms = -1", "a number from 0 to 2000; -1 is not"),
        ("journal.file = 'here.sqlite'", "is relative"),
        ("journal.file = 3", "a whole path or one from ~/; 3 is not"),
        ("player.name = 'two\\nlines'", "one line of text"),
        ("screen.theme = 1979-05-27", "a date or time is not"),
        ("harp = 'C'", "'harp' must be a table, [harp]"),
    ],
)
def test_a_wrong_value_is_reported_and_only_that_is_as_usual(
    file: Path, line: str, expected: str
) -> None:
    line = line.replace("'two\\nlines'", '"two\\nlines"')
    name = line.split(" = ")[0]
    other = "journal.audio_mb = 77"
    resolved = resolve_settings(written(file, f"{other}\n{line}\n"))
    (problem,) = resolved.problems
    assert problem.startswith(f"{file}:2:")
    assert expected in problem
    assert resolved.settings.journal.audio_mb == 77
    if name in DEFAULTS:
        assert value(file, name) == DEFAULTS[name]
    else:
        assert resolved.settings.harp.a4 == 440.0


def test_very_many_problems_are_cut_short(file: Path) -> None:
    lines = "\n".join(f"nonsense{number} = 1" for number in range(20_000))
    resolved = resolve_settings(written(file, lines + "\n[harp]\na4 = 441\n"))
    assert len(resolved.problems) <= 12
    assert "more problems" in resolved.problems[-1]
    assert resolved.settings.harp.a4 == 441


BROKEN = {
    "not TOML": (b"[harp]\nkey = \n", ":2:7: not TOML"),
    "no end": (b"[harp]\nkey = '''C", ": not TOML"),
    "not UTF-8": (b"[player]\nname = 'J\xfcrgen'\n", "not UTF-8"),
    "nested": (b"harp" + b".a" * 5000 + b" = 1\n", "nest too deeply"),
    "lists": (b"harp = " + b"[" * 100_000, "nest too deeply"),
    "large": (b"#" * 1_000_001, "too large"),
}


@pytest.mark.parametrize("kind", BROKEN)
def test_a_broken_file_is_reported_and_left_as_it_is(
    file: Path, trainer: Callable[..., Answer], kind: str
) -> None:
    raw, expected = BROKEN[kind]
    file.parent.mkdir()
    file.write_bytes(raw)
    (problem,) = resolve_settings().problems
    assert expected in problem
    assert value(None, "harp.a4") == 440.0
    for words in (("set", "harp.key", "C"), ("unset", "harp.key")):
        code, _, err = trainer("settings", *words)
        assert code == ExitCode.BAD_INPUT
        assert expected in err
    assert trainer("settings")[0] == 0
    assert file.read_bytes() == raw


def test_a_folder_in_the_files_place_is_reported(file: Path) -> None:
    file.mkdir(parents=True)
    (problem,) = resolve_settings().problems
    assert "not a file" in problem
    with pytest.raises(SettingsError, match="not a file"):
        set_setting(file, ("harp", "key"), "C")


# --- what goes before what ------------------------------------------------------------------


def test_an_option_goes_before_a_variable_and_that_before_the_file(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert microphone_spec(None, None).device is None
    written(file, "sound.device = 'file'\nsound.latency_ms = 1\nsound.channel = 2\n")
    assert microphone_spec(None, None).device == "file"
    monkeypatch.setenv("TRAINER_DEVICE", "variable")
    monkeypatch.setenv("TRAINER_OUTPUT", "7")
    monkeypatch.setenv("TRAINER_LATENCY_MS", "2.5")
    spec = microphone_spec(None, None)
    assert (spec.device, spec.output, spec.channel) == ("variable", "7", 2)
    assert (spec.latency_ms, spec.clicks) == (2.5, True)
    spec = microphone_spec("option", "0", 1, 0.0)
    assert (spec.device, spec.output, spec.channel, spec.latency_ms) == ("option", "0", 1, 0.0)
    monkeypatch.setenv("TRAINER_DEVICE", "")
    assert microphone_spec(None, None).device == "file"


def test_clicks_and_count_in_follow_the_settings_unless_asked_for(file: Path) -> None:
    assert count_in_beats(None) is None
    written(file, "sound.clicks = false\npractice.count_in = 3\n")
    assert microphone_spec(None, None).clicks is False
    assert microphone_spec(None, None, clicks=True).clicks is True
    assert (count_in_beats(None), count_in_beats(8)) == (3, 8)


@pytest.mark.parametrize(
    ("variable", "text", "key", "wanted"),
    [
        ("TRAINER_PLAYER", "Ebba", "player.name", "Ebba"),
        ("TRAINER_HARP", "Bb", "harp.key", "Bb"),
        ("TRAINER_A4", "442", "harp.a4", 442.0),
        ("TRAINER_DEVICE", "USB mic", "sound.device", "USB mic"),
        ("TRAINER_OUTPUT", "3", "sound.output", "3"),
        ("TRAINER_LATENCY_MS", "12", "sound.latency_ms", 12.0),
        ("TRAINER_JOURNAL", WHOLE_PATH, "journal.file", Path(WHOLE_PATH)),
        ("TRAINER_JOURNAL", "here.sqlite", "journal.file", Path.cwd() / "here.sqlite"),
    ],
)
def test_variables_set_what_they_say(
    file: Path, monkeypatch: pytest.MonkeyPatch, variable: str, text: str, key: str, wanted: object
) -> None:
    written(file, "player.name = 'Marit'\nharp.key = 'A'\nharp.a4 = 445\n")
    monkeypatch.setenv(variable, text)
    assert value(None, key) == wanted
    assert resolve_settings().origins[parse_setting_key(key)] == variable


def test_a_wrong_variable_is_reported_and_leaves_what_the_file_says(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(file, "harp.a4 = 445\n")
    monkeypatch.setenv("TRAINER_A4", "44O")
    resolved = resolve_settings()
    (problem,) = resolved.problems
    assert "TRAINER_A4" in problem
    assert '"44O" is not' in problem
    assert resolved.settings.harp.a4 == 445.0
    assert resolved.origins == {("harp", "a4"): "file"}


def test_the_harp_of_a_drill_gives_way_to_a_key_that_is_set_but_not_to_less(file: Path) -> None:
    drills = Harp.of("D", "raised-third-blow")

    def held(*options: Any, **harps: Harp) -> tuple[str, str, float, str]:
        harp, _ = harp_from_options(*(options or (None,) * 4), None, **harps)
        return harp.key.name, harp.tuning.name, harp.a4, harp.temperament.name

    assert held() == ("C", "richter", 440.0, "equal")
    assert held(written_for=drills) == ("D", "raised-third-blow", 440.0, "equal")
    written(file, "harp = { a4 = 443, temperament = 'just5', tuning = 'solo' }\n")
    assert held() == ("C", "solo", 443.0, "just5")
    assert held(written_for=drills) == ("D", "raised-third-blow", 443.0, "just5")
    written(file, "harp.key = 'low F'\n")
    assert held() == ("low F", "richter", 440.0, "equal")
    assert held(written_for=drills) == ("low F", "raised-third-blow", 440.0, "equal")
    written(file, "harp.key = 'low F'\nharp.tuning = 'richter'\n")
    assert held(written_for=drills) == ("low F", "richter", 440.0, "equal")
    assert held("A", "solo", "just7", 441.0, written_for=drills) == ("A", "solo", 441.0, "just7")
    assert held(base=drills) == ("D", "raised-third-blow", 440.0, "equal")


@pytest.fixture
def tone(tmp_path: Path) -> Path:
    """A second of C5, with the partials of a reed: 4 blow on a C harp (common practice)."""
    time = np.arange(48_000) / 48_000
    partials = sum(np.sin(2 * np.pi * 523.25 * n * time) / n**1.2 for n in range(1, 15))
    silence = np.zeros(12_000)
    path = tmp_path / "tone.wav"
    sf.write(path, 0.2 * np.concatenate([silence, np.asarray(partials), silence]), 48_000)
    return path


def test_commands_take_the_harp_of_the_settings(
    file: Path, trainer: Callable[..., Answer], tone: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def tab_of(*words: str) -> str:
        code, out, _ = trainer("tab", str(tone), "--format", "json", *words)
        assert code == 0
        (note,) = json.loads(out)
        return str(note["tab"])

    assert tab_of("--harp", "C") == "4"
    assert trainer("settings", "set", "harp.key", "F")[0] == 0
    assert tab_of() == str(Harp.of("F").nearest_entries(523.25)[0])
    monkeypatch.setenv("TRAINER_HARP", "low D")
    assert tab_of() == str(Harp.of("low D").nearest_entries(523.25)[0])
    assert tab_of("--harp", "C") == "4"


def test_what_is_wrong_is_reported_once_and_the_command_goes_on(
    file: Path, trainer: Callable[..., Answer], tone: Path
) -> None:
    written(file, "[harp]\nkee = 'A'\n")
    code, out, err = trainer("listen", str(tone), "--format", "text")
    assert (code, err.count("did you mean 'harp.key'?")) == (0, 1)
    assert out
    assert "is not" not in trainer("settings", "show")[1]


# --- changing -------------------------------------------------------------------------------


def changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came, but for empty ones; the others stand in order."""
    old, new = ([line for line in text.split("\n") if line] for text in (before, after))
    gone = [line for line in old if line not in new]
    come = [line for line in new if line not in old]
    assert [x for x in old if x not in gone] == [x for x in new if x not in come]
    return gone, come


def test_comments_order_and_strangers_survive(file: Path) -> None:
    written(file, OWN)
    set_setting(file, ("sound", "device"), "USB mic")
    first = file.read_text("utf-8")
    assert changed_lines(OWN, first) == (
        ["device='USB'  # the small one"],
        ['device="USB mic"  # the small one'],
    )
    set_setting(file, ("harp", "a4"), "443")
    set_setting(file, ("sound", "clicks"), "false")
    set_setting(file, ("practice", "minutes"), "15")
    many = file.read_text("utf-8")
    assert changed_lines(first, many) == (
        [],
        ["clicks = false", "a4 = 443", "[practice]", "minutes = 15"],
    )
    for key in (("harp", "a4"), ("sound", "clicks"), ("sound", "latency_ms")):
        assert unset_setting(file, key)
    assert "#latency_ms = 25   # by hand,\ttwice" in file.read_text("utf-8").split("\n")
    assert tomllib.loads(file.read_text("utf-8")) == {
        "title_of_nothing": 1,
        "sound": {"device": "USB mic"},
        "harp": {"tuning": "solo"},
        "practice": {"minutes": 15},
    }


@pytest.mark.parametrize(
    "text",
    [
        "sound.device = 'a'\nsound.channel = 3\n",
        "sound = { device = 'a', channel = 3 }\n",
        "[sound]\nchannel = 3\ndevice = 'a'",
        "[sound]\nchannel = 3\n[sound.device]\nname = 'a table'\n[harp]\nkey = 'C'\n",
        "[sound]\nchannel = 3\ndevice = '''\na\n'''\n",
        "[sound]\nchannel = 3\ndevice = [\n 1, # one\n 2,\n]\n",
        "player.name = '[sound]\\n#device = 1'\n[sound]\nchannel = 3\ndevice = 'a'\n",
    ],
)
def test_a_setting_is_changed_however_it_is_written(file: Path, text: str) -> None:
    data = tomllib.loads(text)
    written(file, text)
    set_setting(file, ("sound", "device"), "b")
    data["sound"]["device"] = "b"
    assert tomllib.loads(file.read_text("utf-8")) == data
    assert unset_setting(file, ("sound", "device"))
    del data["sound"]["device"]
    assert tomllib.loads(file.read_text("utf-8")) == data


def test_a_setting_cannot_be_put_into_what_is_no_table(file: Path) -> None:
    written(file, "sound = 3\n")
    with pytest.raises(SettingsError, match="must be a table"):
        set_setting(file, ("sound", "device"), "b")
    assert not unset_setting(file, ("sound", "device"))
    assert file.read_text("utf-8") == "sound = 3\n"


@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_ends_and_the_byte_order_mark_stay(file: Path, end: str, mark: str) -> None:
    raw = (mark + OWN.replace("\n", end)).encode("utf-8")
    file.parent.mkdir()
    file.write_bytes(raw)
    assert value(file, "sound.device") == "USB"
    set_setting(file, ("sound", "device"), "x")
    set_setting(file, ("practice", "minutes"), "15")
    unset_setting(file, ("harp", "tuning"))
    after = file.read_bytes()
    assert after.startswith(mark.encode("utf-8") + b"# Ours")
    assert after.count(b"\n") == after.count(end.encode())
    assert value(file, "practice.minutes") == 15.0


@pytest.mark.skipif(os.name == "nt", reason="Windows has other rights")
def test_the_file_is_its_owners_alone_and_a_link_stays_one(file: Path, tmp_path: Path) -> None:
    real = written(tmp_path / "kept" / "elsewhere.toml", OWN)
    real.chmod(0o644)
    file.parent.mkdir()
    file.symlink_to(real)
    set_setting(file, ("harp", "key"), "A")
    assert file.is_symlink()
    assert "key = " in real.read_text("utf-8")
    assert stat.S_IMODE(real.stat().st_mode) == 0o600
    fresh = tmp_path / "new" / "settings.toml"
    create_settings_file(fresh)
    assert stat.S_IMODE(fresh.stat().st_mode) == 0o600
    assert stat.S_IMODE(fresh.parent.stat().st_mode) == 0o700


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written(file, OWN)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SettingsError, match="cannot be written: No space left"):
        set_setting(file, ("harp", "key"), "A")
    assert file.read_text("utf-8") == OWN
    assert sorted(os.listdir(file.parent)) == [f".{file.name}.lock", file.name]


def test_a_folder_that_cannot_be_made_is_reported(tmp_path: Path) -> None:
    (tmp_path / "config").write_text("a file")
    with pytest.raises(SettingsError, match="cannot be"):
        set_setting(tmp_path / "config" / "settings.toml", ("harp", "key"), "A")


# --- commands -------------------------------------------------------------------------------


def test_settings_are_set_shown_and_unset(
    file: Path, trainer: Callable[..., Answer], monkeypatch: pytest.MonkeyPatch
) -> None:
    code, out, _ = trainer("settings")
    assert code == 0
    assert f"Wrote {file}" in out
    assert "Wrote" not in trainer("settings")[1]
    assert 'sound.device = "USB mic"' in trainer("settings", "set", "sound.device", "USB mic")[1]
    monkeypatch.setenv("TRAINER_A4", "441")
    assert "TRAINER_A4" in trainer("settings", "set", "harp.a4", "443")[1]
    shown = json.loads(trainer("settings", "show", "--format", "json")[1])
    assert shown["settings"]["sound"]["device"] == "USB mic"
    assert shown["settings"]["harp"]["a4"] == 441.0
    assert shown["from"] == {"harp.a4": "TRAINER_A4", "sound.device": "file"}
    assert {(table, name) for table in shown["settings"] for name in shown["settings"][table]} == {
        *SETTING_KEYS
    }
    lines = [line.split() for line in trainer("settings", "show")[1].splitlines()]
    assert ["harp.a4", "441", "TRAINER_A4"] in lines
    assert ["sound.device", '"USB', 'mic"', "file"] in lines
    assert trainer("settings", "unset", "sound.device")[0] == 0
    assert load_settings().sound.device is None


def test_settings_that_are_set_at_once_are_all_kept(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    wanted = {
        ("player", "name"): "Marit",
        ("practice", "minutes"): "25",
        ("practice", "hands_free"): "true",
        ("journal", "keep_audio"): "true",
        ("harp", "a4"): "442",
        ("sound", "channel"): "2",
    }
    with ThreadPoolExecutor(len(wanted)) as pool:
        list(pool.map(lambda item: set_setting(path, *item), wanted.items()))
    text = path.read_text("utf-8")
    assert all(f"\n{name} = " in text for _, name in wanted), text


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("sound.devise", "x"), "did you mean 'sound.device'?"),
        (("device", "x"), "did you mean 'sound.device'?"),
        (("a.b.c", "x"), "there is no setting 'a.b.c'"),
        (("", "x"), "there is no setting ''"),
        (("sound", "x"), "'sound' is a table"),
        (("harp.a4", "-5"), 'a number from 400 to 480; "-5" is not'),
        (("harp.a4", "many"), '"many" is not'),
        (("player.name", ""), '"" is not'),
        (("journal.file", "here.sqlite"), "is relative"),
    ],
)
def test_what_cannot_be_set_is_reported_and_nothing_is_written(
    file: Path, trainer: Callable[..., Answer], words: tuple[str, ...], expected: str
) -> None:
    code, out, err = trainer("settings", "set", *words)
    assert (code, out) == (ExitCode.BAD_INPUT, "")
    assert expected in err
    assert not file.exists()


def test_the_file_is_edited_in_the_players_editor(
    file: Path, trainer: Callable[..., Answer], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    editor = written(
        tmp_path / "the editor.py",
        "import sys, pathlib\n"
        "path = pathlib.Path(sys.argv[1])\n"
        "path.write_text(path.read_text().replace('#a4 = 440', 'a4 = 4400'))\n",
    )
    monkeypatch.delenv("VISUAL", raising=False)
    monkeypatch.setenv("EDITOR", f'"{sys.executable}" "{editor}"')
    code, _, err = trainer("settings", "edit")
    assert code == ExitCode.BAD_INPUT
    assert "4400 is not" in err
    assert "a4 = 4400" in file.read_text("utf-8")
    monkeypatch.setenv("VISUAL", f'"{sys.executable}" -c "raise SystemExit(2)"')
    code, _, err = trainer("settings", "edit")
    assert code == ExitCode.BAD_INPUT
    assert "it ended with 2" in err
    monkeypatch.setenv("VISUAL", str(tmp_path / "nothing"))
    assert "EDITOR" in trainer("settings", "edit")[2]


# --- any values -----------------------------------------------------------------------------

LINES = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=80
).filter(lambda text: bool(text.strip()))
DECIMALS = st.decimals(0, 2000, places=3)
ANY: dict[SettingKey, st.SearchStrategy[Any]] = {
    ("player", "name"): LINES,
    ("practice", "minutes"): st.floats(1, 480),
    ("practice", "count_in"): st.integers(1, 16),
    ("practice", "hands_free"): st.booleans(),
    ("practice", "follow"): st.booleans(),
    ("harp", "key"): st.sampled_from([p + k for k in STANDARD_KEYS for p in ("", "low ", "high ")]),
    ("harp", "name"): LINES,
    ("harp", "tuning"): st.sampled_from(tuning_names()),
    ("harp", "a4"): st.floats(400, 480),
    ("harp", "temperament"): st.sampled_from(sorted(TEMPERAMENTS)),
    ("harp", "naturals"): st.sampled_from(["temperament", "reeds"]),
    ("sound", "device"): LINES,
    ("sound", "channel"): st.integers(1, 256),
    ("sound", "latency_ms"): DECIMALS.map(float),
    ("sound", "clicks"): st.booleans(),
    ("sound", "ground"): st.booleans(),
    ("journal", "audio_mb"): st.floats(1, 1e6),
}
CHANGES = st.lists(
    st.sampled_from(sorted(ANY)).flatmap(
        lambda key: st.tuples(st.just(key), st.one_of(st.none(), ANY[key]))
    ),
    max_size=6,
)


@given(changes=CHANGES, start=st.sampled_from([None, "", OWN, OWN.replace("\n", "\r\n")]))
def test_any_changes_are_read_back_and_the_rest_stays(
    tmp_path_factory: pytest.TempPathFactory,
    changes: list[tuple[SettingKey, Any]],
    start: str | None,
) -> None:
    path = tmp_path_factory.mktemp("any") / "settings.toml"
    if start is not None:
        written(path, start)
    wanted = tomllib.loads((start or "").replace("\r\n", "\n"))
    for (table, name), new in changes:
        inside = wanted.setdefault(table, {})
        if new is None:
            unset_setting(path, (table, name))
            inside.pop(name, None)
        else:
            set_setting(
                path, (table, name), str(new).lower() if isinstance(new, bool) else str(new)
            )
            inside[name] = new
    read = (
        tomllib.loads(path.read_bytes().decode("utf-8").replace("\r\n", "\n"))
        if path.exists()
        else {}
    )
    assert {table: inside for table, inside in read.items() if inside} == {
        table: inside for table, inside in wanted.items() if inside
    }
    for table, name in ANY:
        if name in wanted.get(table, {}):
            assert value(path, f"{table}.{name}") == wanted[table][name]


TABLE_NAMES = st.sampled_from(["player", "practice", "harp", "sound", "journal", "screen"])
ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)
NAMES = st.sampled_from([name for _, name in SETTING_KEYS]) | st.text()
FILES = st.dictionaries(
    TABLE_NAMES | st.text(), ANYTHING | st.dictionaries(NAMES, ANYTHING, max_size=4), max_size=4
)


@given(data=FILES)
def test_whatever_a_file_holds_the_settings_are_usable_and_all_that_is_wrong_is_reported(
    data: dict[str, Any],
) -> None:
    settings, faults = validate_settings(data)
    reported = {fault.path for fault in faults}
    for table, values in data.items():
        if table not in type(settings).model_fields or not isinstance(values, dict):
            assert (table,) in reported
            continue
        for name in values:
            known = (table, name) in SETTING_KEYS
            assert known or (table, name) in reported
    for table, name in SETTING_KEYS:
        if (table, name) in reported or (table,) in reported:
            assert getattr(getattr(settings, table), name) == DEFAULTS[f"{table}.{name}"]


@given(source=st.text(max_size=60) | st.sampled_from(["", "\x00", "\ufeff\r\n", "[", "[[harp]]"]))
def test_no_text_at_all_makes_reading_fail(
    tmp_path_factory: pytest.TempPathFactory, source: str
) -> None:
    path = tmp_path_factory.mktemp("texts") / "settings.toml"
    raw = source.encode("utf-8", "surrogatepass")
    path.write_bytes(raw)
    resolve_settings(path)
    assert path.read_bytes() == raw
