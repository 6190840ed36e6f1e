"""What a teacher says about each habit, and which skills train it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

A4_HZ = 440.0


@dataclass(frozen=True, slots=True)
class Remedy:
    """What a teacher says about a habit.

    Attributes:
        focus: the habit in words; ``{size}`` stands for its size.
        remedy: what to do, most useful first.
        skills: skills of drills that train it, the best first.
        again: how to play the same drill again, where that is the exercise; empty for none.
        of_notes: whether it is of certain notes, so that an exercise needs just these.
    """

    focus: str
    remedy: str
    skills: tuple[str, ...] = ()
    again: str = ""
    of_notes: bool = False


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
        "Tap your foot on every beat, and play ten beats a minute slower.",
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
        of_notes=True,
    ),
    "bends shallow": Remedy(
        "Bends not deep enough: {size} cents above the pitch.",
        "Sing the low note first, shape the mouth for it, and only then breathe.",
        _BEND_SKILLS,
        of_notes=True,
    ),
    "bends deep": Remedy(
        "Bends too deep: {size} cents below the pitch.",
        "Bend less: let the note rise until it rings, and stop there.",
        _BEND_SKILLS,
        of_notes=True,
    ),
    "overblows flat": Remedy(
        "Overblows {size} cents flat.",
        "Brighten the vowel and raise the pressure a little.",
        ("overblows and overdraws",),
        of_notes=True,
    ),
    "overblows sharp": Remedy(
        "Overblows {size} cents sharp.",
        "Relax: less air, and a darker vowel.",
        ("overblows and overdraws",),
        of_notes=True,
    ),
    "low draws sag": Remedy(
        "Draw 2 and 3 sag by {size} cents.",
        "Draw them with less breath and a lower jaw, as in a yawn.",
        ("low reeds", "single notes"),
        of_notes=True,
    ),
    "draws flat": Remedy(
        "Draw notes {size} cents flat.",
        "Draw more softly, with an open throat.",
        ("single notes", "steadiness"),
        of_notes=True,
    ),
    "blows flat": Remedy(
        "Blow notes {size} cents flat.",
        "Blow more softly: hard blowing pulls a reed flat.",
        ("single notes", "steadiness"),
        of_notes=True,
    ),
    "blue notes high": Remedy(
        "Blue notes {size} cents too high.",
        "Play both neighbours first, then stop between them.",
        ("blue notes", "bend control"),
        of_notes=True,
    ),
    "blue notes low": Remedy(
        "Blue notes {size} cents too low.",
        "Play both neighbours first, then stop between them.",
        ("blue notes", "bend control"),
        of_notes=True,
    ),
    "bends scooped": Remedy(
        "Bends are scooped from {size} cents above.",
        "Set the mouth in the rest, before you breathe, so that the note starts on its pitch.",
        ("no scoop", "bend control"),
        of_notes=True,
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
        of_notes=True,
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
        of_notes=True,
    ),
    "bends sink": Remedy(
        "Bends sink by {size} cents while held.",
        "Draw more gently towards the end.",
        ("bend control", "steadiness"),
        of_notes=True,
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
        "Make the movement smaller, then quicker; keep the breath steady.",
        _SHAKE_SKILLS,
    ),
    "shakes fast": Remedy(
        "The shakes are too fast.",
        "Let each hole ring: count two changes to the click, then three.",
        _SHAKE_SKILLS,
    ),
    "shakes lean high": Remedy(
        "The shakes stay too long on the upper hole.",
        "Stay longer on the lower hole: aim between the two and swing evenly to both sides.",
        _SHAKE_SKILLS,
    ),
    "shakes lean low": Remedy(
        "The shakes stay too long on the lower hole.",
        "Stay longer on the upper hole: aim between the two and swing evenly to both sides.",
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
        "The falls are too shallow.",
        "Let the pitch drop further before the breath stops.",
        _FALL_SKILLS,
    ),
    "falls deep": Remedy(
        "The falls are too deep.", "Stop the breath sooner on the way down.", _FALL_SKILLS
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
        "Start softly and add air evenly to the end; for a fade, do the reverse.",
        _DYNAMICS_SKILLS,
    ),
    "glides turn back": Remedy(
        "Glides turn back on the way.",
        "Move the tongue once, slowly, in one breath.",
        ("let up", "bend control"),
        of_notes=True,
    ),
    "glides jump": Remedy(
        "Glides stay too high on the way.",
        "Leave the first note later, and glide evenly.",
        ("let up", "bend control"),
        of_notes=True,
    ),
    "glides lag": Remedy(
        "Glides stay too low on the way.",
        "Glide evenly from note to note.",
        ("let up", "bend control"),
        of_notes=True,
    ),
    "leaks above": Remedy(
        "The hole above leaks, {size} dB below the note.",
        "Move the harp a little to the right and make the mouth smaller, without pressing.",
        _CLEAN_SKILLS,
        of_notes=True,
    ),
    "leaks below": Remedy(
        "The hole below leaks, {size} dB below the note.",
        "Move the harp a little to the left and make the mouth smaller, without pressing.",
        _CLEAN_SKILLS,
        of_notes=True,
    ),
    "leaks beside": Remedy(
        "Neighbouring holes leak, {size} dB below the note.",
        "Make the mouth smaller and put the harp deeper between the lips.",
        _CLEAN_SKILLS,
        of_notes=True,
    ),
    "upper hole missing": Remedy(
        "The upper hole of chords and splits is missing.",
        "Play it alone first, then open the mouth to it.",
        ("chords and splits",),
        of_notes=True,
    ),
    "lower hole missing": Remedy(
        "The lower hole of chords and splits is missing.",
        "Play it alone first, then open the mouth to it.",
        ("chords and splits",),
        of_notes=True,
    ),
    "chords single": Remedy(
        "Chords sound as single notes.",
        "Open the mouth over two holes and breathe broadly.",
        ("chords and splits",),
        of_notes=True,
    ),
    "a hole too low": Remedy(
        "You land a hole too low.",
        "Find the hole with the lips before you breathe; play the leap alone.",
        ("moves", "leaps"),
        of_notes=True,
    ),
    "a hole too high": Remedy(
        "You land a hole too high.",
        "Find the hole with the lips before you breathe; play the leap alone.",
        ("moves", "leaps"),
        of_notes=True,
    ),
    "other breath": Remedy(
        "The breath goes the wrong way.",
        "Say 'blow' and 'draw' as you read the tab, then play it slowly.",
        ("moves", "breath"),
    ),
    "notes missing": Remedy(
        "Notes are left out.",
        "Play it slower, a bar at a time, until none is missing.",
        again="a bar at a time",
    ),
    "stops": Remedy(
        "Stops, and goes back.",
        "Go on after a mistake: the beat does not wait. Play it slower, from start to end.",
        again="slower, without a stop",
    ),
    "skips": Remedy(
        "A passage is skipped.",
        "Start a bar before it, and go on a bar after it.",
        again="every bar",
    ),
    "speeds up": Remedy(
        "The tempo goes up.", "Tap the foot on every beat; record it with the click.", _TIME_SKILLS
    ),
    "slows down": Remedy(
        "The tempo goes down.", "Breathe in the rests, so that no note waits for air.", _TIME_SKILLS
    ),
}  # fmt: skip
"""What to say about each habit."""

REMARK_HABITS: Mapping[str, str] = {
    "stop": "stops",
    "back": "stops",
    "repeat": "stops",
    "false start": "stops",
    "skip": "skips",
}
"""Habits that remarks on a performance stand for, by the kind of the remark."""


def remark_habit(kind: str, size: float | None) -> str:
    """Return the habit that a remark stands for; empty for a fact that needs no remedy.

    Args:
        kind: as in :class:`trainer.marking.Remark`.
        size: same.
    """
    if kind == "drift":
        return "speeds up" if (size or 0.0) > 0.0 else "slows down"
    return REMARK_HABITS.get(kind, "")


def skipped_steps(remarks: Iterable[tuple[str, int | None, float | None]]) -> set[int]:
    """Return the indices of the steps that remarks say were skipped.

    Args:
        remarks: kind, step and size of each.
    """
    return {
        index
        for kind, step, size in remarks
        if kind == "skip" and step is not None
        for index in range(step, step + int(size or 1))
    }


def a4_text(name: str, size: float) -> str:
    """Return the reference pitch in hertz at which notes that are all off alike would be right.

    Args:
        name: the habit.
        size: how far off they are, in cents.
    """
    cents = -size if name == "all flat" else size
    return f"{A4_HZ * 2.0 ** (cents / 1200.0):.1f}"
