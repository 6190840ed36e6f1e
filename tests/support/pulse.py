"""A virtual sound system: PulseAudio with a null sink, whose monitor is the microphone.

Sound that is played into the sink arrives at PortAudio's input. Output of PortAudio arrives there
too, as from a loudspeaker. The daemon has a folder of its own, separate from the machine's sound.
PortAudio reads its environment when it starts, so code that listens needs its own process:
:meth:`Pulse.run`.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import numpy as np
import pytest
import soundfile as sf

from tests.support.waiting import wait_until

SINK = "vmic"
_PROGRAMS = ("pulseaudio", "pactl", "pacat", "parec")
_ALSA = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"


class Cued:
    """A player that has started and waits for its sound; on a busy machine, starting takes long."""

    def __init__(self, player: subprocess.Popen[bytes], sound: bytes) -> None:
        self._player, self._sound = player, sound
        self._feeder = threading.Thread(target=self._feed)

    def begin(self) -> None:
        """Begin to play."""
        self._feeder.start()

    def wait(self) -> None:
        """Wait until all is played."""
        self._feeder.join(60.0)
        assert self._player.wait(60.0) == 0

    def stop(self) -> None:
        """Stop before the end."""
        self._player.kill()
        self._player.wait(10.0)
        self._feeder.join(10.0)

    def _feed(self) -> None:
        assert self._player.stdin is not None
        with contextlib.suppress(BrokenPipeError), self._player.stdin as pipe:
            pipe.write(self._sound)


class Pulse:
    """A private sound daemon with one null sink.

    Attributes:
        env: environment in which PortAudio uses it.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        (folder / ".asoundrc").write_text(_ALSA)
        inherited = {k: v for k, v in os.environ.items() if not k.startswith("PULSE")}
        self.env = {
            **inherited,
            "HOME": str(folder),
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_SERVER": f"unix:{folder}/pulse/native",
        }
        self._noise, self._recorded = folder / "noise", folder / "recorded"
        steps = np.random.default_rng(5).integers(-3, 4, 120 * 48_000)
        steps.astype(np.int16).tofile(self._noise)
        self._log = (folder / "log").open("wb")
        command = ["pulseaudio", "--daemonize=no", "--exit-idle-time=-1", "-n"]
        self._daemon = self._start(*command, "-L", "module-native-protocol-unix")
        self._keeper: subprocess.Popen[bytes] | None = None
        wait_until(lambda: self._quietly("pactl", "info"), "the sound daemon starts")
        self.plug_in()

    def plug_in(self) -> None:
        """Create the sink and make its monitor the default microphone."""
        self.pactl("load-module", "module-null-sink", f"sink_name={SINK}", "rate=48000")
        self.pactl("set-default-source", f"{SINK}.monitor")
        self.listen()

    def listen(self) -> None:
        """Keep a recorder at the sink, and wait until it records.

        A null sink takes up to two seconds to reach low latency for its first recorder, and drops
        sound meanwhile, unlike a card.
        """
        if self._keeper:
            self._keeper.terminate()
            self._keeper.wait(10)
        with self._recorded.open("wb") as file:
            self._keeper = self._start(
                "parec", "--latency-msec=5", f"--device={SINK}.monitor", stdout=file
            )
        wait_until(lambda: self._recorded.stat().st_size > 0, "the sink is recorded")

    def pactl(self, *words: str) -> None:
        """Send a command to the daemon."""
        subprocess.run(["pactl", *words], env=self.env, check=True, stdout=subprocess.DEVNULL)

    def play(self, path: Path) -> None:
        """Play a WAV file into the sink, to its end."""
        assert self.begin(path).wait(120) == 0

    def begin(self, path: Path) -> subprocess.Popen[bytes]:
        """Begin to play a WAV file into the sink."""
        return self._start("paplay", f"--device={SINK}", str(path))

    def cue(self, path: Path) -> Cued:
        """Prepare to play a WAV file into the sink at once when it is asked for."""
        sound, rate = sf.read(path, dtype="int16")
        play = ["pacat", "--raw", f"--rate={rate}", "--channels=1", f"--device={SINK}"]
        player = subprocess.Popen(
            play, env=self.env, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=self._log
        )
        return Cued(player, sound.tobytes())

    @contextmanager
    def hiss(self) -> Iterator[None]:
        """Play a room's noise: an input that is exactly 0 does not count as a microphone."""
        play = ["pacat", "--raw", "--rate=48000", "--channels=1", f"--device={SINK}"]
        room = self._start(*play, "--latency-msec=20", str(self._noise))
        try:
            yield
        finally:
            room.terminate()
            room.wait(10)

    @contextmanager
    def logs_on_failure(self) -> Iterator[None]:
        """Print what the trainer and the daemon have logged here where a test fails."""
        try:
            yield
        except BaseException:
            for path in (*self._folder.glob("**/*.log"), self._folder / "log"):
                print(f"--- {path.name}", path.read_text(errors="replace")[-4000:], sep="\n")
            raise

    def run(self, code: str, *words: str, timeout: float = 120.0) -> Any:
        """Run Python code with arguments and return its last line, parsed as JSON."""
        done = self.start(code, *words)
        out, _ = done.communicate(timeout=timeout)
        assert done.returncode == 0, out
        return json.loads(out.splitlines()[-1])

    def start(self, code: str, *words: str) -> subprocess.Popen[str]:
        """Start Python code with arguments; its output is a pipe."""
        return subprocess.Popen(
            [sys.executable, "-c", code, *words],
            env=self.env,
            stdout=subprocess.PIPE,
            stderr=self._log,
            text=True,
        )

    def close(self) -> None:
        """End the daemon and the recorder."""
        for process in (self._keeper, self._daemon):
            if process:
                process.terminate()
                process.wait(10)
        self._log.close()

    def _start(
        self, *command: str, stdout: int | IO[bytes] = subprocess.DEVNULL
    ) -> subprocess.Popen[bytes]:
        return subprocess.Popen(command, env=self.env, stdout=stdout, stderr=self._log)

    def _quietly(self, *command: str) -> bool:
        return not subprocess.run(command, env=self.env, capture_output=True).returncode


@pytest.fixture(scope="module")
def pulse() -> Iterator[Pulse]:
    """Start a virtual sound system; skip where the programs are missing."""
    missing = [program for program in _PROGRAMS if not shutil.which(program)]
    portaudio = subprocess.run([sys.executable, "-c", "import sounddevice"], capture_output=True)
    if portaudio.returncode:
        missing.append("PortAudio")
    if missing:
        pytest.skip(f"needs {', '.join(missing)}")
    # Not pytest's own folder: the path of a socket must be short.
    with tempfile.TemporaryDirectory(prefix="pulse-") as folder:
        running = Pulse(Path(folder))
        yield running
        running.close()
