"""Advice after a pass: what to work on first, what to do about it, and a drill that trains it.

Advice follows habits (:mod:`trainer.marking.habits`) before single notes, as a teacher names the
cause that many notes share. A drill is proposed only if it is no harder than the one just played.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass

from trainer.drill import Drill, describe_aim
from trainer.harp import Tab
from trainer.marking import Habit, Mark, Result, aim_score, find_habits

MAX_ADVICE = 3
"""Maximum number of pieces of advice; more would not be read."""
MIN_LOST_POINTS = 15.0
"""Fewest points that a single step has lost where it is named, beside the habits."""
A4_HZ = 440.0


@dataclass(frozen=True, slots=True)
class Advice:
    """A piece of advice.

    Attributes:
        focus: what to work on.
        reason: what to do about it.
        drill: title of a drill that trains it; empty if the shelf has none at the player's level.
        steps: indices of the steps that show it.
    """

    focus: str
    reason: str
    drill: str = ""
    steps: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Remedy:
    """What a teacher says about a habit.

    Attributes:
        focus: the habit in words; ``{size}`` stands for its size.
        remedy: what to do, most useful first.
        skills: skills of drills that train it, the best first.
    """

    focus: str
    remedy: str
    skills: tuple[str, ...] = ()


_BEND_SKILLS = ("half-step bends", "bend control", "deep bends", "blow bends")
_TIME_SKILLS = ("rhythm", "off-beats", "shuffle")
_CLEAN_SKILLS = ("single notes", "cleanness", "moves")
_SHAKE_SKILLS = ("shakes", "moves")
_DIP_SKILLS = ("scoops and falls", "half-step bends", "bend control")
_FALL_SKILLS = ("scoops and falls", "let up", "bend control")
_GRACE_SKILLS = ("grace notes", "moves")
_HAND_SKILLS = ("hands", "vibrato and wah")
_ARTICULATION_SKILLS = ("tonguing", "legato", "staccato", "slaps", "single notes")
_DYNAMICS_SKILLS = ("accents", "swells", "steadiness")
_HELD_SKILLS = ("steadiness", "single notes", "bend control")

REMEDIES: Mapping[str, Remedy] = {
    "all sharp": Remedy(
        "The whole harp is {size} cents sharp.",
        "Measure it with 'trainer harp measure', or set A4 = {a4} Hz; then the notes count again.",
    ),
    "all flat": Remedy(
        "The whole harp is {size} cents flat.",
        "Breathe more softly; if it stays, measure the harp with 'trainer harp measure' or set "
        "A4 = {a4} Hz.",
    ),
    "all late": Remedy(
        "Everything comes {size} ms late, evenly.",
        "Measure the latency with 'trainer sound calibrate'; if that is right, lean into the beat.",
    ),
    "all early": Remedy(
        "Everything comes {size} ms early, evenly.",
        "Measure the latency with 'trainer sound calibrate'; if that is right, wait for the "
        "count-in to end.",
    ),
    "rushing": Remedy(
        "You speed up: {size} ms ahead by the end.",
        "Tap the foot on every beat and play ten beats a minute slower.",
        _TIME_SKILLS,
    ),
    "dragging": Remedy(
        "You slow down: {size} ms behind by the end.",
        "Breathe in the rests, so that no note waits for air.",
        ("breath", *_TIME_SKILLS),
    ),
    "not bent": Remedy(
        "The bends do not bend.",
        "Say 'ee-oo' without the harp and feel the tongue drop back; then do that while you draw.",
        _BEND_SKILLS,
    ),
    "bends shallow": Remedy(
        "Bends not deep enough: {size} cents above the pitch.",
        "Sing the low note first, shape the mouth for it, and only then breathe.",
        _BEND_SKILLS,
    ),
    "bends deep": Remedy(
        "Bends too deep: {size} cents below the pitch.",
        "Use less: let the note rise until it rings, and stop there.",
        _BEND_SKILLS,
    ),
    "overblows flat": Remedy(
        "Overblows {size} cents flat.",
        "Brighten the vowel and raise the pressure a little.",
        ("overblows and overdraws",),
    ),
    "overblows sharp": Remedy(
        "Overblows {size} cents sharp.",
        "Relax: less air, and a darker vowel.",
        ("overblows and overdraws",),
    ),
    "low draws sag": Remedy(
        "Draw 2 and 3 sag by {size} cents.",
        "Draw them with less breath and a lower jaw, as in a yawn.",
        ("low reeds", "single notes"),
    ),
    "draws flat": Remedy(
        "Draw notes {size} cents flat.",
        "Draw more softly, with an open throat.",
        ("single notes", "steadiness"),
    ),
    "blows flat": Remedy(
        "Blow notes {size} cents flat.",
        "Blow more softly: hard blowing pulls a reed flat.",
        ("single notes", "steadiness"),
    ),
    "blue notes high": Remedy(
        "Blue notes {size} cents too high.",
        "Play both neighbours first, then stop between them.",
        ("blue notes", "bend control"),
    ),
    "blue notes low": Remedy(
        "Blue notes {size} cents too low.",
        "Play both neighbours first, then stop between them.",
        ("blue notes", "bend control"),
    ),
    "bends scooped": Remedy(
        "Bends are scooped from {size} cents above.",
        "Set the mouth in the rest, before you breathe, so that the note starts on its pitch.",
        ("no scoop", "bend control"),
    ),
    "slow to settle": Remedy(
        "Notes take {size} ms to settle.",
        "Shape the mouth before the breath, and start each note softly.",
        _HELD_SKILLS,
    ),
    "bends unsteady": Remedy(
        "Bends wobble by {size} cents.",
        "Keep the tongue still and let the breath flow; hold each bend for three beats.",
        ("bend control", "steadiness"),
    ),
    "notes unsteady": Remedy(
        "Notes wobble by {size} cents.",
        "Play long tones with an even breath from the belly.",
        _HELD_SKILLS,
    ),
    "bends rise": Remedy(
        "Bends creep up by {size} cents.",
        "Keep the tongue where it is as the breath goes on.",
        ("bend control", "steadiness"),
    ),
    "bends sink": Remedy(
        "Bends sink by {size} cents while held.",
        "Pull less hard towards the end.",
        ("bend control", "steadiness"),
    ),
    "notes rise": Remedy(
        "Notes rise by {size} cents while held.",
        "Start more softly, and keep the breath even.",
        _HELD_SKILLS,
    ),
    "notes sag": Remedy(
        "Notes sag by {size} cents while held.",
        "Do not pull harder towards the end; keep the breath even.",
        _HELD_SKILLS,
    ),
    "swing straight": Remedy(
        "The swing is played straight.",
        "Say 'long-short' with the foot: the off-beat comes later than the middle of the beat.",
        ("shuffle", "rhythm"),
    ),
    "off-beats early": Remedy(
        "Off-beats come {size} ms early.",
        "Wait until the foot is up before you play.",
        ("off-beats", "rhythm"),
    ),
    "off-beats late": Remedy(
        "Off-beats come {size} ms late.",
        "Have hole and breath ready while the foot goes down.",
        ("off-beats", "rhythm"),
    ),
    "beats early": Remedy(
        "Notes on the beat come {size} ms early.",
        "Let the foot lead and play with it, not before it.",
        _TIME_SKILLS,
    ),
    "beats late": Remedy(
        "Notes on the beat come {size} ms late.",
        "Move the harp in the rest, and start the breath with the foot.",
        _TIME_SKILLS,
    ),
    "no vibrato": Remedy(
        "No vibrato is heard.",
        "Hold the note still first, then pulse the throat as in 'uh-uh-uh'.",
        ("vibrato and wah", "vibrato"),
    ),
    "vibrato fast": Remedy(
        "The vibrato is too fast.", "Count it: slower, and as even as steps.", ("vibrato and wah",)
    ),
    "vibrato slow": Remedy(
        "The vibrato is too slow.", "Make it smaller first, then quicker.", ("vibrato and wah",)
    ),
    "vibrato wide": Remedy(
        "The vibrato swings too wide.", "Pulse more lightly from the throat.", ("vibrato and wah",)
    ),
    "vibrato shallow": Remedy(
        "The vibrato is too shallow.",
        "Let the throat close a little more with each pulse.",
        ("vibrato and wah",),
    ),
    "no shake": Remedy(
        "The shakes do not change holes.",
        "Hold the harp still and turn the head in small nods, or move the harp, until both holes "
        "sound; start with two changes a second.",
        _SHAKE_SKILLS,
    ),
    "shakes slow": Remedy(
        "The shakes are too slow.",
        "Make the way from hole to hole smaller, then quicker; keep the breath steady.",
        _SHAKE_SKILLS,
    ),
    "shakes fast": Remedy(
        "The shakes are too fast.",
        "Let each hole ring: count two changes to the click, then three.",
        _SHAKE_SKILLS,
    ),
    "shakes lean high": Remedy(
        "The shakes stay too long on the upper hole.",
        "Stay longer on the lower hole: aim between the two and swing evenly about that place.",
        _SHAKE_SKILLS,
    ),
    "shakes lean low": Remedy(
        "The shakes stay too long on the lower hole.",
        "Stay longer on the upper hole: aim between the two and swing evenly about that place.",
        _SHAKE_SKILLS,
    ),
    "shakes weak above": Remedy(
        "The upper hole of the shakes is {size} dB softer.",
        "Move further up, until the upper hole is open to the breath.",
        _SHAKE_SKILLS,
    ),
    "shakes weak below": Remedy(
        "The lower hole of the shakes is {size} dB softer.",
        "Move further down, until the lower hole is open to the breath.",
        _SHAKE_SKILLS,
    ),
    "shakes irregular": Remedy(
        "The shakes speed up and slow down.",
        "Slow down to a rate that stays even, and let the neck, not the hands, keep it.",
        _SHAKE_SKILLS,
    ),
    "no dips": Remedy(
        "The notes start without a dip.",
        "Start the note with the mouth shaped for a bend and let go of it at once.",
        _DIP_SKILLS,
    ),
    "dips shallow": Remedy(
        "The dips are too shallow.",
        "Start each one from a deeper bend, as in 'dwee'.",
        _DIP_SKILLS,
    ),
    "dips deep": Remedy(
        "The dips are too deep.", "Bend only a little before you let go.", _DIP_SKILLS
    ),
    "dips slow": Remedy(
        "The dips take too long.",
        "Let go at once: a dip is heard as an accent, not as a note.",
        _DIP_SKILLS,
    ),
    "no scoops": Remedy(
        "The notes start without a scoop.",
        "Begin on the bend, hold it for a moment, and let it up into the note.",
        _DIP_SKILLS,
    ),
    "scoops shallow": Remedy(
        "The scoops start too high.",
        "Find the bend alone first; then begin on it and let it up.",
        _DIP_SKILLS,
    ),
    "scoops deep": Remedy(
        "The scoops start too low.",
        "Begin with less bend, and let it up into the note.",
        _DIP_SKILLS,
    ),
    "scoops slow": Remedy(
        "The scoops take too long.",
        "Arrive on the note sooner, and hold it.",
        _DIP_SKILLS,
    ),
    "scoops quick": Remedy(
        "The scoops are too quick.",
        "Let the tongue come forward slowly, for as long as the drill asks.",
        _DIP_SKILLS,
    ),
    "no falls": Remedy(
        "The notes end without a fall.",
        "Bend the note down at its end while the breath goes on, and only then let go.",
        _FALL_SKILLS,
    ),
    "falls shallow": Remedy(
        "The falls are too short a way.",
        "Let the pitch drop further before the breath stops.",
        _FALL_SKILLS,
    ),
    "falls deep": Remedy(
        "The falls go too far down.", "Stop the breath sooner on the way down.", _FALL_SKILLS
    ),
    "falls quick": Remedy(
        "The falls drop at once.",
        "Start to fall earlier, and let the note sink.",
        _FALL_SKILLS,
    ),
    "falls slow": Remedy(
        "The falls start too early.",
        "Hold the note longer, and drop it only at its end.",
        _FALL_SKILLS,
    ),
    "no grace notes": Remedy(
        "The grace notes are missing.",
        "Play the two notes slowly and evenly, then let the first one shrink to a flick.",
        _GRACE_SKILLS,
    ),
    "grace notes long": Remedy(
        "The grace notes are too long, {size} ms.",
        "Think only of the main note, and brush the other on the way to it.",
        _GRACE_SKILLS,
    ),
    "no hand vibrato": Remedy(
        "No hand vibrato is heard.",
        "Cup the harp, then open and close the outer hand quickly; the breath stays level.",
        _HAND_SKILLS,
    ),
    "hand vibrato shallow": Remedy(
        "The hand vibrato is too shallow.",
        "Close the cup tightly before you open it; most leaks are at the little finger.",
        _HAND_SKILLS,
    ),
    "hand vibrato deep": Remedy(
        "The hand vibrato is too deep.", "Open the hand less; a finger is enough.", _HAND_SKILLS
    ),
    "no wah": Remedy(
        "No wah is heard.",
        "Close the cup until the sound is dull, then open it like a door; the breath stays level.",
        _HAND_SKILLS,
    ),
    "wahs shallow": Remedy(
        "The wahs are too shallow.",
        "Close the cup tightly before you open it; most leaks are at the little finger.",
        _HAND_SKILLS,
    ),
    "wahs fast": Remedy(
        "The wahs are too fast.", "Open and close with the beat, counted aloud.", _HAND_SKILLS
    ),
    "wahs slow": Remedy(
        "The wahs are too slow.", "Move the fingers, not the whole arm.", _HAND_SKILLS
    ),
    "notes cut short": Remedy(
        "Notes are cut short: {size} % of their length is missing.",
        "Let the breath go on until the next note is due.",
        ("legato", "articulation", "steadiness", "breath"),
    ),
    "notes run on": Remedy(
        "Notes run on from the note before.",
        "Say 'ta' into each note, so that the tongue stops the air before it.",
        _ARTICULATION_SKILLS,
    ),
    "staccato long": Remedy(
        "Staccato notes last {size} % of their length.",
        "Say 'tut': the tongue ends each note as it began it.",
        _ARTICULATION_SKILLS,
    ),
    "legato broken": Remedy(
        "Legato notes stop {size} ms before the next one.",
        "Keep one stream of air, and move the harp under it.",
        ("legato", *_ARTICULATION_SKILLS),
    ),
    "slaps missing": Remedy(
        "The slaps are missing: notes start alone.",
        "Start with the mouth open over three holes, then cover two with the tongue.",
        ("slaps", *_ARTICULATION_SKILLS),
    ),
    "accents weak": Remedy(
        "Accents are hardly louder than the notes around them.",
        "Play the other notes softer, and kick the accents from the belly.",
        _DYNAMICS_SKILLS,
    ),
    "swells flat": Remedy(
        "Swells and fades change the loudness too little.",
        "Start at a whisper, and give air evenly until the end; for a fade, the other way.",
        _DYNAMICS_SKILLS,
    ),
    "glides turn back": Remedy(
        "Glides turn back on the way.",
        "Move the tongue once, slowly, in one breath.",
        ("let up", "bend control"),
    ),
    "glides jump": Remedy(
        "Glides stay too high on the way.",
        "Leave the first note later, and glide evenly.",
        ("let up", "bend control"),
    ),
    "glides lag": Remedy(
        "Glides stay too low on the way.",
        "Glide evenly from note to note.",
        ("let up", "bend control"),
    ),
    "leaks above": Remedy(
        "The hole above leaks, {size} dB below the note.",
        "Move the harp a little to the right and make the mouth smaller, without pressing.",
        _CLEAN_SKILLS,
    ),
    "leaks below": Remedy(
        "The hole below leaks, {size} dB below the note.",
        "Move the harp a little to the left and make the mouth smaller, without pressing.",
        _CLEAN_SKILLS,
    ),
    "leaks beside": Remedy(
        "Neighbouring holes leak, {size} dB below the note.",
        "Make the mouth smaller and put the harp deeper between the lips.",
        _CLEAN_SKILLS,
    ),
    "upper hole missing": Remedy(
        "The upper hole of chords and splits is missing.",
        "Play it alone first, then open the mouth to it.",
        ("chords and splits",),
    ),
    "lower hole missing": Remedy(
        "The lower hole of chords and splits is missing.",
        "Play it alone first, then open the mouth to it.",
        ("chords and splits",),
    ),
    "chords single": Remedy(
        "Chords sound as single notes.",
        "Open the mouth over two holes and breathe broadly.",
        ("chords and splits",),
    ),
    "a hole too low": Remedy(
        "You land a hole too low.",
        "Find the hole with the lips before you breathe; play the leap alone.",
        ("moves", "leaps"),
    ),
    "a hole too high": Remedy(
        "You land a hole too high.",
        "Find the hole with the lips before you breathe; play the leap alone.",
        ("moves", "leaps"),
    ),
    "other breath": Remedy(
        "The breath goes the wrong way.",
        "Say 'blow' and 'draw' along with the tab, then play it slowly.",
        ("moves", "breath"),
    ),
    "notes missing": Remedy(
        "Notes are left out.",
        "Play it slower, a bar at a time, until none is missing.",
        ("breath", "moves"),
    ),
}  # fmt: skip
"""What to say about each habit."""


def advise(result: Result, shelf: Sequence[Drill]) -> tuple[Advice, ...]:
    """Return advice on a pass, the most urgent first.

    Args:
        result: the marks.
        shelf: the available drills.
    """
    habits = find_habits(result)
    on_habits = [_on_habit(habit, result, shelf) for habit in habits]
    explained = {id(mark) for habit in habits for mark in habit.marks}
    rest = [mark for mark in result.marks if id(mark) not in explained]
    pieces = [*on_habits, *_on_steps(rest)]
    if not pieces and not result.passed:
        pieces = _on_failure(result)
    return tuple(pieces[:MAX_ADVICE])


def _on_failure(result: Result) -> list[Advice]:
    """Advice on a pass that failed without a fault that stands out: there is always some."""
    drill, pieces = result.drill, []
    if len(result.marks) < len(drill.steps):
        played = f"{len(result.marks)} of {len(drill.steps)} steps were played."
        pieces.append(Advice(played, "Play it to its end, slower if need be."))
    if result.extras:
        pieces.append(Advice(result.extras[0].sentence, "Play only what the tab says."))
    for aim in drill.aims:
        score = aim_score(drill, aim, result.marks)
        if score is not None and score < drill.goal.pass_mark:
            focus = f"The drill is for {describe_aim(aim)}: {int(score)} of 100."
            pieces.append(Advice(focus, "Play slower, and listen to that alone."))
    if (weakest := result.weakest) is not None:
        pieces.append(_on_step(weakest))
    return pieces


def _on_habit(habit: Habit, result: Result, shelf: Sequence[Drill]) -> Advice:
    remedy = REMEDIES[habit.name]
    a4_hz = A4_HZ * 2.0 ** ((-1 if habit.name == "all flat" else 1) * habit.size / 1200.0)
    focus = remedy.focus.format(size=f"{habit.size:.0f}")
    if len(habit.marks) < habit.of:
        focus = f"{focus.removesuffix('.')} ({len(habit.marks)} of {habit.of} notes)."
    tabs = {tab for mark in habit.marks for tab in mark.step.tabs}
    best = best_drill(remedy.skills, tabs, result.drill, shelf)
    drill = best.title if best else ""
    steps = tuple(mark.step.index for mark in habit.marks)
    return Advice(focus, remedy.remedy.format(a4=f"{a4_hz:.1f}"), drill, steps)


def _on_steps(marks: Sequence[Mark]) -> list[Advice]:
    """Advice on the steps that lost most, one for each tab."""
    weak = sorted(
        (mark for mark in marks if mark.score <= 100.0 - MIN_LOST_POINTS),
        key=lambda mark: mark.score,
    )
    by_tab: dict[str, Mark] = {}
    for mark in weak:
        by_tab.setdefault(mark.step.tab, mark)
    return [_on_step(mark) for mark in by_tab.values()]


def _on_step(mark: Mark) -> Advice:
    return Advice(
        f"{mark.step.tab} in bar {mark.step.bar}: {mark.sentence}.",
        "Play that bar alone, slowly, until it is easy.",
        steps=(mark.step.index,),
    )


def best_drill(
    skills: Sequence[str], tabs: Set[Tab], played: Drill, shelf: Sequence[Drill]
) -> Drill | None:
    """Return the drill that trains a habit best; None if none does.

    It is at the level of the drill just played or below it, and never that drill. Among those that
    train one of the skills, the one with the largest fraction of steps with the faulty notes wins,
    then the one nearest to the player's level.

    Args:
        skills: skills that train the habit.
        tabs: the faulty notes.
        played: the drill that was played.
        shelf: the available drills.
    """

    def fitness(drill: Drill) -> tuple[float, int]:
        matches = [bool(set(step.tabs) & tabs) for step in drill.steps]
        return sum(matches) / max(1, len(matches)), drill.level

    fitting = [
        drill
        for drill in shelf
        if drill.name != played.name
        and drill.level <= played.level
        and not set(skills).isdisjoint(drill.skills)
    ]
    return max(fitting, key=fitness, default=None)
