"""The score: from the points on each criterion to a step's score, and a pass's.

A step's score is min(`mean`, `most`) x `right` x `sounding` x `held`, where

- `mean` is the mean of the criteria that could be judged, weighted by the goal's weights;
- `most` is 50 more than the worst criterion that counts, so that nothing gross is averaged away,
  and, where the step must be clean, at most its cleanness;
- `right` is min(1, pitch / 50), so that a wrong note earns nothing however clean it is;
- `sounding` is the fraction of a chord's holes that sound, 1 for a single note, 0 for a gesture on
  one hole;
- `held` is 0.5 + 0.5 min(1, points for the length held / 50), so that a note that is only touched
  counts for half; 1 for a staccato note.

A solo counts in the mean by its length, with its own score
(:mod:`trainer.marking.solo_criteria`).

A step that was not played, or too briefly to be judged, has 0; one that is optional and left out
neither earns nor costs. The mean of a pass is that of its
steps' scores weighted by their lengths in beats; extra notes count as steps that earned nothing.

A drill says what it is for (:mod:`trainer.drill.aim`): some criteria, each on some of its steps.
The score of a pass is `aim` x (0.8 + 0.2 x mean / 100), where

- `aim` is the least of its aims' scores, so that none makes up for another;
- an aim's score is the mean of its steps' points on its criterion, times `right` and `held`; a step
  that was not played, or was cut too short to be judged on that criterion, has 0, and one that
  could not be judged for another reason does not count. A solo counts like a step, with its points
  on that criterion.
  An aim of which no step could be judged neither earns nor costs: the rest of the drill decides.
  An aim at time earns no more than the lateness that all notes share, against which each is judged.

So what misses its aim cannot pass, however good the rest was, and all the rest together costs at
most a fifth. The score of a drill without aims is its mean, and at most 50 more than the points of
the lateness that all notes share.

How figures make points: :mod:`trainer.marking.criteria`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trainer.drill import Aim, CleannessRule, Drill, Goal, Step
from trainer.marking.criteria import held_points, is_left_out, missing_holes, sounds_alone
from trainer.marking.mark import ExtraNote, Mark, Measured
from trainer.marking.parameters import SCORE
from trainer.marking.solo_mark import SoloMark


@dataclass(frozen=True, slots=True)
class ScoreBreakdown:
    """How a step's score follows from its criteria.

    It is min(`mean`, `most`) x `right` x `sounding` x `held`.

    Attributes:
        mean: weighted mean of the criteria, 0 to 100.
        most: upper limit set by the worst criterion and by required cleanness.
        right: 1, less where the pitch is far off, 0 for a wrong note.
        sounding: fraction of a chord's holes that sounded.
        held: 1, less where the note was cut short.
    """

    mean: float
    most: float
    right: float
    sounding: float
    held: float

    @property
    def score(self) -> float:
        """Score of the step, 0 to 100."""
        return min(self.mean, self.most) * self.right * self.sounding * self.held


def break_down(
    step: Step, measured: Measured, criteria: Mapping[str, float], goal: Goal
) -> ScoreBreakdown:
    """How a step's score follows from its criteria.

    Args:
        step: the step.
        measured: its figures.
        criteria: points of each, from :func:`~trainer.marking.criteria.criterion_scores`.
        goal: the drill's goal.
    """
    weights = goal.weights
    if is_left_out(step, measured):
        return ScoreBreakdown(100.0, 100.0, 1.0, 1.0, 1.0)
    counting = {name: earned for name, earned in criteria.items() if weights[name] > 0.0}
    if not criteria:
        return ScoreBreakdown(0.0, 0.0, 0.0, 0.0, 0.0)
    mean = most = 100.0  # also where nothing that counts could be judged
    if counting:
        weight = sum(weights[name] for name in counting)
        mean = sum(weights[name] * earned for name, earned in counting.items()) / weight
        most = min(counting.values()) + SCORE.max_above_worst
    if step.cleanness_rule is CleannessRule.CLEAN:
        most = min(most, criteria.get("cleanness", 100.0))
    right = right_factor(criteria)
    sounding, held = _sounding_fraction(step, measured), _held_factor(step, measured)
    return ScoreBreakdown(mean, most, right, sounding, held)


def step_score(step: Step, measured: Measured, criteria: Mapping[str, float], goal: Goal) -> float:
    """Score of a step, 0 to 100; arguments as in :func:`break_down`."""
    return break_down(step, measured, criteria, goal).score


def pass_score(
    drill: Drill,
    marks: Sequence[Mark],
    extras: Sequence[ExtraNote] = (),
    solos: Sequence[SoloMark] = (),
) -> float:
    """Score of a pass, 0 to 100; 0 for one without steps.

    Args:
        drill: the drill, with its aims.
        marks: marks of the steps that were due.
        extras: notes that the drill does not ask for.
        solos: marks of the solos that were due.
    """
    mean = mean_score(marks, extras, solos)
    due = {mark.step.index for mark in marks}
    aims = [
        aim
        for aim in drill.aims
        if (aim.is_on_solos and solos) or any(s.index in due for s in aim.steps(drill.steps))
    ]
    scores = [score for aim in aims if (score := aim_score(drill, aim, marks, solos)) is not None]
    if not scores:
        return min(mean, _common_limit(drill, marks))
    return min(scores) * (1.0 - SCORE.beside_weight * (1.0 - mean / 100.0))


def _common_limit(drill: Drill, marks: Sequence[Mark]) -> float:
    """Limit of a pass without aims by the lateness that all its notes share."""
    if not drill.goal.weights["time"]:
        return 100.0
    common = min((mark.measured.common_late_points for mark in marks), default=100.0)
    return common + SCORE.max_above_worst


def aim_score(
    drill: Drill, aim: Aim, marks: Sequence[Mark], solos: Sequence[SoloMark] = ()
) -> float | None:
    """Score of one aim, 0 to 100; None where none of its steps and solos could be judged."""
    aimed = {step.index for step in aim.steps(drill.steps)}
    points = [
        earned
        for mark in marks
        if mark.step.index in aimed and (earned := aim_points(mark, aim.criterion)) is not None
    ]
    if aim.is_on_solos:
        points += [each.criteria[aim.criterion] for each in solos if aim.criterion in each.criteria]
    return sum(points) / len(points) if points else None


def aim_points(mark: Mark, criterion: str) -> float | None:
    """Points of a step on an aim's criterion, 0 to 100; None where it could not be judged."""
    if is_left_out(mark.step, mark.measured):
        return None
    if not mark.criteria:
        return 0.0
    if criterion == "holes":
        if not mark.measured.holes or mark.measured.hidden:
            return None
        points = 100.0 * _sounding_fraction(mark.step, mark.measured)
        if sounds_alone(mark.step, mark.measured):
            points = 0.0
    elif criterion not in mark.criteria:  # cut so short that it could not be judged, or not known
        return 0.0 if _held_factor(mark.step, mark.measured) < 1.0 else None
    else:
        points = mark.criteria[criterion]
        if criterion == "time":
            points = min(points, mark.measured.common_late_points)
    held = 1.0 if criterion == "articulation" else _held_factor(mark.step, mark.measured)
    return points * right_factor(mark.criteria) * held


def _sounding_fraction(step: Step, measured: Measured) -> float:
    """Fraction of a chord's holes that sounded, 1 for a single note; 0 or 1 for a gesture."""
    if step.is_gesture:
        return 0.0 if sounds_alone(step, measured) else 1.0
    return 1.0 - len(missing_holes(step, measured)) / len(step.last)


def _held_factor(step: Step, measured: Measured) -> float:
    """1 for a note that was held, less where it was cut short."""
    least = SCORE.least_held
    return least + (1.0 - least) * min(1.0, held_points(step, measured) / SCORE.held_points)


def right_factor(criteria: Mapping[str, float]) -> float:
    """1 for the right note, less where the pitch is far off, 0 for a wrong note."""
    return min(1.0, criteria.get("pitch", SCORE.right_pitch) / SCORE.right_pitch)


def mean_score(
    marks: Sequence[Mark], extras: Sequence[ExtraNote] = (), solos: Sequence[SoloMark] = ()
) -> float:
    """Mean of the steps' and solos' scores weighted by their lengths, 0 to 100; 0 of nothing."""
    counting = [mark for mark in marks if not is_left_out(mark.step, mark.measured)]
    beats = sum(float(mark.step.beats) for mark in counting)
    beats += sum(float(each.solo.beats) for each in solos)
    extra_beats = sum(extra.beats for extra in extras)
    earned = sum(mark.score * float(mark.step.beats) for mark in counting)
    earned += sum(each.score * float(each.solo.beats) for each in solos)
    return earned / (beats + extra_beats) if beats else 0.0
