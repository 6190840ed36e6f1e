"""From the options of a command to how a recording of a drill is marked.

``trainer mark`` and ``trainer report`` take the same options, so that a page shows the marks that
the teacher has seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from trainer.cli.options import harp_from_options, player_journal

if TYPE_CHECKING:
    from trainer.drill import Drill
    from trainer.practice import Plan

DrillOption = Annotated[
    str,
    typer.Option("--drill", help="The drill that was played: its name or the path of its file."),
]
StartOption = Annotated[
    float | None,
    typer.Option(
        "--start",
        help="Time of the first beat in seconds. [default: from the saved take, else detected "
        "from the notes]",
    ),
]
ClickOption = Annotated[
    bool,
    typer.Option(
        "--click",
        help="It was played to a click at the tempo: mark early and late against the click, "
        "not against the player's own beat.",
    ),
]
AsPlayedOption = Annotated[
    bool,
    typer.Option(
        "--as-played", help="If it is played on a harp of another key, mark it on that harp."
    ),
]


@dataclass(frozen=True, slots=True)
class RecordingOptions:
    """How recordings of a drill are to be marked; None leaves it to the recording or the settings.

    Attributes:
        harp, tuning, temperament, a4, offset: the harp, as in
            :func:`trainer.cli.options.harp_from_options`.
        tempo: beats per minute.
        tolerance: cents within which a note is in tune.
        start: second on which the drill's first beat falls.
        click: whether it was played to a click.
        as_played: whether it is marked on the harp that it is played on.
        channel: input channel, from 1.
        player: in whose name results are stored; None stores none.
        is_class: whether pitch and tolerance are the teacher's, whatever the files say.
    """

    harp: str | None = None
    tuning: str | None = None
    temperament: str | None = None
    a4: float | None = None
    offset: list[str] | None = None
    tempo: float | None = None
    tolerance: float | None = None
    start: float | None = None
    click: bool = False
    as_played: bool = False
    channel: int | None = None
    player: str | None = None
    is_class: bool = False

    def plan(self, recording: Path, drill: Drill) -> tuple[Plan, tuple[str, ...]]:
        """Return how a recording is marked, and what is to be known of it, a clause each.

        Raises:
            SoundError: the recording cannot be read.
            HarpError, MusicError: an option names no harp.
        """
        from trainer.harp import Harp, HarpError
        from trainer.practice import Plan, saved_harp, saved_tolerance
        from trainer.report.batch_report import targets_text
        from trainer.sound import RecordingSpec

        notes = []
        is_mine = self.harp is not None or self.is_class
        try:
            played = saved_harp(recording)
        except HarpError as error:
            if not is_mine:
                raise
            played = None
            notes.append(f"the harp that the file names is invalid ({error}); yours was used")
        reached = saved_tolerance(recording, drill)
        key, tuning = self.harp, self.tuning
        if self.is_class and played is not None and key is None:
            key, tuning = played.key.name, tuning or played.tuning.name
        selected, name = harp_from_options(
            key,
            tuning,
            self.temperament,
            self.a4,
            self.offset,
            base=None if is_mine else played,
            written_for=Harp.of(drill.key, drill.tuning),
        )
        plan = Plan(
            selected,
            RecordingSpec(recording, self.channel),
            drill=drill,
            tempo=self.tempo,
            start=self.start,
            click=self.click,
            as_played=self.as_played,
            journal=player_journal() if self.player else None,
            player=self.player or "",
            harp_name=name,
            tolerance=self.tolerance or (None if self.is_class else reached),
        ).at_present_tolerance()
        if played is not None and (claims := targets_text(played)):
            used = "yours were used" if is_mine else "--harp takes yours instead"
            notes.append(f"the file names targets of its own ({claims}); {used}")
        if reached is not None and reached > drill.at_widest().goal.tolerance:
            used = "the drill's was used" if self.is_class else "--tolerance takes another"
            notes.append(f"the file names a tolerance of {reached:g} cents; {used}")
        return plan, tuple(notes)
