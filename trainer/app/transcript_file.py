"""Where a transcript comes from, and the drill file in which its corrections are saved."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trainer.drill import Drill, DrillError, read_drill

if TYPE_CHECKING:
    from trainer.transcript import TranscriptRequest


@dataclass(frozen=True, slots=True)
class TranscriptFile:
    """A transcript to be opened: from a recording, or from the drill that was made of it.

    Attributes:
        file: the drill file in which corrections are saved.
        request: the passage to write down, unless the file holds its tab already.
        drill: the tab; None reads the file, or writes the passage down.
    """

    file: Path
    request: TranscriptRequest | None = None
    drill: Drill | None = None

    @classmethod
    def of_passage(cls, request: TranscriptRequest, file: Path | None = None) -> TranscriptFile:
        """Return the transcript of a passage, by default with a file beside the recording."""
        path = request.path
        if file is None:
            last = "end" if request.last is None else f"{request.last:g}"
            part = f"-{request.first:g}-{last}" if request.first or request.last else ""
            file = path.with_name(f"{path.stem}{part}.toml")
        return cls(file, request)

    @classmethod
    def of_drill(cls, drill: Drill) -> TranscriptFile | None:
        """Return the transcript of a drill that names its recording; None of another one."""
        recording = drill.recording
        if recording is None or drill.free:
            return None
        folder = Path(recording.folder) if recording.folder else recording.path.parent
        return cls(folder / f"{drill.name}.toml", None, drill)

    def saved(self) -> Drill | None:
        """Return the tab of the passage that the file holds already; None without one."""
        if self.request is None or not self.file.exists():
            return self.drill
        with contextlib.suppress(DrillError):
            drill = read_drill(self.file)
            recording = drill.recording
            if recording and recording.path.resolve() == self.request.path.resolve():
                return drill
        return None
