"""The daily set while it is played drill after drill, without a key in between."""

from __future__ import annotations

from dataclasses import dataclass, replace

from trainer.coach import DailySet, SetEntry
from trainer.marking import Result
from trainer.practice import counts_for


@dataclass(frozen=True, slots=True)
class SetRun:
    """Where the player is in the set.

    Attributes:
        day: the set, with the takes of today.
        entry: the entry that is played.
    """

    day: DailySet
    entry: SetEntry

    def plus(self, result: Result) -> SetRun:
        """Return the run after one more pass; a whole one counts, or one of the entry's bars."""
        if not counts_for(self.entry, result):
            return self
        return replace(self, day=self.day.plus(self.entry.drill, result.score))

    @property
    def is_done(self) -> bool:
        """Whether the entry is done."""
        return self.day.is_done(self.entry)

    @property
    def next_entry(self) -> SetEntry | None:
        """The next entry that is not done, those after this one first; None if all are."""
        entries = self.day.entries
        place = entries.index(self.entry) + 1 if self.entry in entries else 0
        order = (*entries[place:], *entries[:place])
        return next((e for e in order if e != self.entry and not self.day.is_done(e)), None)

    @property
    def passed(self) -> int:
        """Number of the entry's passes that count."""
        entry, scores = self.entry, self.day.scores(self.entry)
        return min(entry.passes, sum(score >= entry.pass_mark for score in scores))

    @property
    def next_step(self) -> str:
        """What the set asks for next, as a sentence."""
        entry, following = self.entry, self.next_entry
        if not self.is_done:
            return f"Next: again with r; {self.passed} of {entry.passes} passed."
        return f"Next: {following.title}, with n." if following else "The set is done."

    @property
    def words(self) -> str:
        """How far the entry is, and what comes after it."""
        entry, passed = self.entry, self.passed
        following = self.next_entry
        then = f"then {following.title}" if following else "the last of the set"
        return f"{passed} of {entry.passes} passed, {then}"
