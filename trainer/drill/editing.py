"""Correcting a drill note by note, as when a transcript is checked by ear.

Conventions. Every correction returns a new state and leaves the old one unchanged, so that a list
of states is all that undo needs. Notes never overlap: a note that grows or moves takes its time
from the rest beside it, and then from its neighbour, of which at least :data:`SHORTEST_BEATS` is
left.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from trainer.drill.errors import DrillError
from trainer.drill.fingerings import target_pitches
from trainer.drill.model import CleannessRule, Drill, Remark, Sound, Step
from trainer.drill.tab_words import MIN_LENGTH_BEATS
from trainer.drill.transpose import move_by_pitch, written_harp
from trainer.harp import HOLES, Harp, Tab

SHORTEST_BEATS = MIN_LENGTH_BEATS
"""Length to which a note may be shortened, in beats: the shortest that a drill file can have."""


@dataclass(frozen=True, slots=True)
class EditedDrill:
    """A drill that is being corrected.

    Attributes:
        drill: the drill as it is now.
        cursor: index of the step to which corrections apply.
        source: the drill before it was rewritten for another harp; None if it was not. Another harp
            is written from it again, so that trying harps one after another loses nothing.
    """

    drill: Drill
    cursor: int = 0
    source: Drill | None = field(default=None, compare=False)

    @property
    def step(self) -> Step:
        """The step at the cursor."""
        return self.drill.steps[self.cursor]

    @property
    def doubtful(self) -> frozenset[int]:
        """Indices of the steps that are marked as doubtful."""
        recording = self.drill.recording
        return frozenset(number - 1 for number in recording.doubtful) if recording else frozenset()

    # The cursor

    def at(self, index: int) -> EditedDrill:
        """Return it with the cursor on a step, or on the nearest that there is."""
        return replace(self, cursor=min(max(index, 0), len(self.drill.steps) - 1))

    def at_next_doubtful(self) -> EditedDrill:
        """Return it with the cursor on the next doubtful step; after the last one, the first.

        Raises:
            DrillError: no note is doubtful.
        """
        doubtful = sorted(self.doubtful)
        if not doubtful:
            raise DrillError("no note is doubtful")
        return self.at(next((index for index in doubtful if index > self.cursor), doubtful[0]))

    # The pitch

    def on_next_hole(self, by: int) -> EditedDrill:
        """Return it with the note on a hole a number of holes higher.

        A bend that this hole does not have becomes its natural note.

        Raises:
            DrillError: there is no such hole, or it has no such glide.
        """
        harp = written_harp(self.drill)
        sounds = tuple(
            tuple(_on_hole(tab, tab.hole + by, harp, self.step) for tab in sound)
            for sound in self.step.sounds
        )
        return self._sounding(_without_repeats(sounds))

    def on_other_breath(self) -> EditedDrill:
        """Return it with blow for draw, and draw for blow; bends become natural notes."""
        sounds = tuple(
            tuple(Tab(tab.hole, tab.breath.other) for tab in sound) for sound in self.step.sounds
        )
        return self._sounding(_without_repeats(sounds))

    def bent(self, by: int) -> EditedDrill:
        """Return it with the note bent deeper by a number of half steps; negative lets it up.

        Above the natural note is the overblow or overdraw of the hole, where there is one.

        Raises:
            DrillError: the hole has no such note, or it is a glide or a chord.
        """
        step = self.step
        if len(step.sounds) > 1:
            raise DrillError(f"split {step.tab} first: it glides")
        if len(step.first) > 1:
            raise DrillError(f"{step.tab} is a chord: only a single note can be bent here")
        tab = step.first[0]
        entries = [
            entry
            for entry in written_harp(self.drill).hole_entries(tab.hole)
            if entry.breath is tab.breath
        ]
        place = entries.index(tab) - by if tab in entries else 0
        if not 0 <= place < len(entries):
            end, word = (entries[0], "lower") if place < 0 else (entries[-1], "higher")
            raise DrillError(
                f"{end} is as far as hole {tab.hole} goes: no {word} note on this breath"
            )
        return self._sounding(((entries[place],),))

    def _sounding(self, sounds: tuple[Sound, ...]) -> EditedDrill:
        """Return it with other sounds at the cursor, without what belongs to the old ones."""
        step = replace(
            self.step,
            sounds=sounds,
            offsets_cents=(),
            alternative=None,
            ladder=False,
            shake=None,
            grace=(),
            scoop=None,
            fall=None,
            cleanness_rule=CleannessRule.PLAIN,
        )
        return self._with(self._notes(step), step)

    # The time

    def lengthened(self, by: Fraction) -> EditedDrill:
        """Return it with the note longer by a number of beats; negative shortens it.

        Raises:
            DrillError: it or the note after it would be too short.
        """
        step = self.step
        return self._placed(step.start, step.end + by)

    def shifted(self, by: Fraction) -> EditedDrill:
        """Return it with the note later by a number of beats; negative is earlier.

        Raises:
            DrillError: there is no room.
        """
        step = self.step
        return self._placed(step.start + by, step.end + by)

    def _placed(self, start: Fraction, end: Fraction) -> EditedDrill:
        """Return it with the note between two beats, and its neighbours shortened as needed."""
        if end - start < SHORTEST_BEATS:
            raise DrillError("the note would be too short: delete it instead")
        bar = self.drill.meter[0]
        if start <= -bar:
            raise DrillError("a pick-up is shorter than a bar")
        step = replace(self.step, start=start, beats=end - start)
        notes = self._notes(step)
        if self.cursor > 0:
            before = notes[self.cursor - 1]
            kept = min(before.step.end, start) - before.step.start
            notes[self.cursor - 1] = before.lasting(before.step.start, kept)
        if self.cursor + 1 < len(notes):
            after = notes[self.cursor + 1]
            begin = max(after.step.start, end)
            notes[self.cursor + 1] = after.lasting(begin, after.step.end - begin)
        moved = self._with(notes, step)
        last = max(note.step.end for note in notes)
        whole = Fraction(math.ceil(last / bar) * bar)
        drill = moved.drill
        drill = replace(drill, start=min(drill.start, start), end=max(drill.end, whole))
        return replace(moved, drill=drill)

    # Notes

    def deleted(self) -> EditedDrill:
        """Return it without the note; a rest is left.

        Raises:
            DrillError: it is the last one.
        """
        notes = self._notes()
        if len(notes) == 1:
            raise DrillError("the last note stays: change it instead")
        del notes[self.cursor]
        return self._with(notes, notes[min(self.cursor, len(notes) - 1)].step)

    def added(self, beats: Fraction) -> EditedDrill:
        """Return it with another note of the same sound in the rest after this one, or before it.

        Args:
            beats: length of the new note, if the rest is as long.

        Raises:
            DrillError: there is no rest on either side.
        """
        steps, step = self.drill.steps, self.step
        before = steps[self.cursor - 1].end if self.cursor else self.drill.start
        after = steps[self.cursor + 1].start if self.cursor + 1 < len(steps) else self.drill.end
        if after - step.end >= SHORTEST_BEATS:
            start, length = step.end, min(beats, after - step.end)
        elif step.start - before >= SHORTEST_BEATS:
            length = min(beats, step.start - before)
            start = step.start - length
        else:
            raise DrillError("no rest on either side: shorten the note or split it")
        new = Step(0, (step.first,), start, length)
        notes = [*self._notes(), _Note(new)]
        return self._with(notes, new)

    def split(self) -> EditedDrill:
        """Return it with the note as two of half its length, or a glide as a note per sound.

        Raises:
            DrillError: it is too short.
        """
        step = self.step
        sounds = step.sounds if len(step.sounds) > 1 else step.sounds * 2
        length = step.beats / len(sounds)
        if length < SHORTEST_BEATS:
            raise DrillError("the note is too short to split")
        pieces = [
            replace(
                step,
                sounds=(sound,),
                start=step.start + place * length,
                beats=length,
                offsets_cents=(),
                ladder=False,
                grace=step.grace if place == 0 else (),
            )
            for place, sound in enumerate(sounds)
        ]
        notes = self._notes()
        notes[self.cursor : self.cursor + 1] = [_Note(piece) for piece in pieces]
        return self._with(notes, pieces[0])

    def joined(self) -> EditedDrill:
        """Return it with the note and the next one as one.

        Two notes of one hole and breath become a glide; others keep the sound of the first.

        Raises:
            DrillError: there is no next note.
        """
        notes, step = self._notes(), self.step
        if self.cursor + 1 == len(notes):
            raise DrillError("there is no note after it to join")
        after = notes[self.cursor + 1].step
        sounds = step.sounds
        if _is_one_bend([*step.sounds, *after.sounds]):
            sounds = _without_repeats((*step.sounds, *after.sounds))
        joined = replace(
            step, sounds=sounds, beats=after.end - step.start, offsets_cents=(), alternative=None
        )
        notes[self.cursor : self.cursor + 2] = [_Note(joined)]
        return self._with(notes, joined)

    def checked(self) -> EditedDrill:
        """Return it with the note as it is, and no longer doubtful."""
        return self._with(self._notes(self.step), self.step)

    # The harp

    def on_harp(self, harp: Harp) -> EditedDrill:
        """Return it rewritten for another harp: the same pitches, on its easiest holes.

        A note that the harp lacks becomes the nearest one, and is doubtful.

        Args:
            harp: the harp.
        """
        source = self.source or self.drill
        if (harp.key.name, harp.tuning.name) == (source.key, source.tuning):
            return replace(self.at(self.cursor), drill=source, source=source)
        moved = move_by_pitch(source, harp).drill
        parts, lacking = [], []
        for part, arranged in ((source.steps, moved.steps), (source.second, moved.second)):
            by_start = {step.start: replace(step, alternative=None) for step in arranged}
            steps = []
            for step in part:
                rewritten = by_start.get(step.start) or _nearest(step, written_harp(source), harp)
                steps.append(replace(rewritten, index=step.index))
            parts.append(tuple(steps))
            lacking.append({step.index + 1 for step in part if step.start not in by_start})
        recording = source.recording
        if recording is not None:
            recording = replace(
                recording,
                doubtful=tuple(sorted(lacking[0].union(recording.doubtful))),
                second_doubtful=tuple(sorted(lacking[1].union(recording.second_doubtful))),
            )
        drill = replace(moved, steps=parts[0], second=parts[1], recording=recording)
        return EditedDrill(drill, self.cursor, source)

    # The parts

    def with_other_part(self) -> EditedDrill:
        """Return it with its parts in each other's place: the first is corrected, and played.

        Raises:
            DrillError: it has one part.
        """
        drill = replace(self.drill.part(2), name=self.drill.name)
        after = [step.index for step in drill.steps if step.start >= self.step.start]
        return EditedDrill(drill, min(after, default=len(drill.steps) - 1))

    def _notes(self, changed: Step | None = None) -> list[_Note]:
        """Return the notes with their remarks and doubts.

        Args:
            changed: the new step at the cursor, which is no longer doubtful; None for no change.
        """
        notes = [
            _Note(step, step.index in self.doubtful, tuple(_remarks_on(self.drill, step)))
            for step in self.drill.steps
        ]
        if changed is not None:
            notes[self.cursor] = replace(notes[self.cursor], step=changed, doubtful=False)
        return notes

    def _with(self, notes: Sequence[_Note], at: Step) -> EditedDrill:
        """Return it with other notes, numbered anew, and the cursor on one of them."""
        drill = self.drill
        ordered = sorted(notes, key=lambda note: note.step.start)
        steps: list[Step] = []
        remarks = [remark for remark in drill.remarks if not remark.note]
        doubtful = []
        in_bar: dict[int, int] = {}
        for index, note in enumerate(ordered):
            start = note.step.start
            bar = math.floor(start / drill.meter[0]) + 1 if start >= 0 else 0
            in_bar[bar] = in_bar.get(bar, 0) + 1
            steps.append(replace(note.step, index=index, bar=bar))
            remarks += [Remark(bar, in_bar[bar], text) for text in note.remarks]
            if note.doubtful:
                doubtful.append(index + 1)
        recording = drill.recording and replace(drill.recording, doubtful=tuple(doubtful))
        drill = replace(drill, steps=tuple(steps), remarks=tuple(remarks), recording=recording)
        cursor = next(i for i, step in enumerate(steps) if step.start == at.start)
        return EditedDrill(drill, cursor)


@dataclass(frozen=True, slots=True)
class _Note:
    """A step with what belongs to it by its number."""

    step: Step
    doubtful: bool = False
    remarks: tuple[str, ...] = ()

    def lasting(self, start: Fraction, beats: Fraction) -> _Note:
        """Return it with another time.

        Raises:
            DrillError: it is too short.
        """
        if beats < SHORTEST_BEATS:
            raise DrillError(f"no room: {self.step.tab} beside it would be too short")
        return replace(self, step=replace(self.step, start=start, beats=beats))


def _remarks_on(drill: Drill, step: Step) -> Iterable[str]:
    in_bar = [other.index for other in drill.steps if other.bar == step.bar]
    number = in_bar.index(step.index) + 1
    return (
        remark.text for remark in drill.remarks if (remark.bar, remark.note) == (step.bar, number)
    )


def _on_hole(tab: Tab, hole: int, harp: Harp, step: Step) -> Tab:
    if hole not in HOLES:
        raise DrillError(f"{step.tab} is at the end of the harp: it has holes 1 to 10")
    moved = replace(tab, hole=hole)
    return moved if harp.can_play(moved) else Tab(hole, tab.breath)


def _without_repeats(sounds: Sequence[Sound]) -> tuple[Sound, ...]:
    """Return a path without sounds that repeat the one before."""
    return tuple(sound for i, sound in enumerate(sounds) if i == 0 or sound != sounds[i - 1])


def _is_one_bend(sounds: Sequence[Sound]) -> bool:
    """Whether sounds are single notes of one hole and breath, none of them blown over."""
    places = {(tab.hole, tab.breath, tab.over) for sound in sounds for tab in sound}
    return all(len(sound) == 1 for sound in sounds) and len(places) == 1


def _nearest(step: Step, written: Harp, harp: Harp) -> Step:
    """Return a step on that entry of another harp whose pitch is nearest to its first."""
    wanted = target_pitches(step, written)[0].notes[0]
    tab = min(harp.entries, key=lambda entry: (abs(harp.midi(entry) - wanted), entry))
    return Step(step.index, ((tab,),), step.start, step.beats, step.bar)


class EditHistory:
    """The states of a drill that is corrected, for undo and redo.

    Args:
        state: the first state.
    """

    def __init__(self, state: EditedDrill) -> None:
        self._states = [state]
        self._place = 0

    @property
    def now(self) -> EditedDrill:
        """The current state."""
        return self._states[self._place]

    def move(self, state: EditedDrill) -> None:
        """Take another cursor; that is no correction."""
        self._states[self._place] = state

    def correct(self, state: EditedDrill) -> None:
        """Take a corrected state; what was undone is dropped."""
        self._states[self._place + 1 :] = [state]
        self._place += 1

    def undo(self) -> bool:
        """Go back one correction; return whether there was one."""
        if self._place == 0:
            return False
        self._place -= 1
        return True

    def redo(self) -> bool:
        """Repeat the correction that was undone last; return whether there was one."""
        if self._place + 1 == len(self._states):
            return False
        self._place += 1
        return True
