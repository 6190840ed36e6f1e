"""Does each fault in a solo lower its own criterion, and only that?

    python -m benchmarks.solos [--record] [--smoke] [--solos N] [--sounds N]

Solos of eight bars are made up here, by other rules than those of the built-in player: onsets are
drawn with metrical weights, and pitches follow a slow wave over the scale. One fault at a time
touches a growing fraction of the notes, rests or phrases. *Points* are means over the solos at each
fraction. *Rises* counts solos in which more of a fault earned more than a point more on its
criterion. *Others* is the largest mean fall of another criterion. What a fault changes by its
nature is not counted as
another: `BY_NATURE`.

Players who do none of what is asked come next, with their least criterion. Then come the same solos
as sound, on the built-in player's reeds: dry, and with the ground of the drill from a loudspeaker
in a modelled room, cancelled.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from statistics import mean

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np

from benchmarks.echo import ROOMS, Room, hear
from benchmarks.fonts import RATE
from benchmarks.results import Results, add_options
from trainer.core.types import Floats
from trainer.drill import SOLO_CRITERIA, BeatClock, Drill, Step, parse_drill
from trainer.harp import Harp, Tab
from trainer.marking import Marker, SoloMark, SoloNote
from trainer.marking.solo_criteria import mark_solo
from trainer.marking.solo_measurement import measure_solo
from trainer.music import key_in_position
from trainer.sound import Fault, trainer_notes
from trainer.sound.accompaniment import Accompaniment
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.performance import perform

FIRST_SEED = 500
"""Seed of the first solo; seeds below were looked at while the marking was written."""
FRACTIONS = (0.0, 0.25, 0.5, 0.75, 1.0)
SAME_POINTS = 1.0
"""Rise in points that is no rise."""
BARS, METER = 8, 4
TIMING_MS, PITCH_CENTS = 8.0, 4.0
"""Standard deviations of a faultless player's onsets and pitches."""
BY_NATURE: Mapping[str, frozenset[str]] = {
    "scale": frozenset({"range", "variety"}),
    "range": frozenset({"harmony", "variety", "pitch", "cleanness"}),
    "variety": frozenset({"harmony", "range", "phrases", "pitch"}),
    "harmony": frozenset({"range", "variety", "pitch"}),
    "phrases": frozenset({"harmony", "variety", "range", "pitch"}),
}
"""Criteria that a fault touches, too: fewer notes have fewer of a chord, a copied phrase meets
other chords, a filled rest has notes of its own."""
FORMS = (
    ("blues", 2, "I7 | I7 | IV7 | IV7 | I7 | V7 | I7 | I7 | I7"),
    ("minor pentatonic", 2, "I7 | IV7 | I7 | I7 | IV7 | IV7 | V7 | I7 | I7"),
    ("dorian", 3, "i7 | i7 | IV7 | i7 | i7 | IV7 | v7 | i7 | i7"),
    ("major pentatonic", 1, "I | vi | IV | I | ii | V | I | I | I"),
)


RIGHT = Fault()
"""No fault."""


@dataclass(frozen=True)
class Note:
    """A note of a made-up solo: beat, length in beats, and its entry."""

    beat: float
    beats: float
    tab: Tab
    fault: Fault = RIGHT


def form(seed: int) -> Drill:
    """Return a drill of eight free bars and a last note."""
    scale, position, chords = FORMS[seed % len(FORMS)]
    tempo = 84 + 8 * (seed % 5)
    bars = " | ".join(["solo:4"] * BARS)
    last = {1: "4", 2: "-2", 3: "-4"}[position]
    text = (
        f'title = "T"\nharp = "C"\ntempo = {tempo}\nposition = {position}\n'
        f'tab = """\n{bars} | {last}:4 |\n"""\n[ground]\nplay = "bass"\nchords = "{chords}"\n'
        f'[solo]\nscale = "{scale}"\nrange = 9\n[goal]\ntolerance = 15\n'
    )
    return parse_drill(text, "form")


class Composer:
    """Makes up the notes of a solo, and puts one fault into them."""

    def __init__(self, drill: Drill, harp: Harp, seed: int) -> None:
        self.drill, self.harp = drill, harp
        self.random = np.random.default_rng(seed)
        assert drill.brief is not None
        by_note: dict[int, Tab] = {}
        for tab in drill.brief.entries(harp, drill.position or 1):
            by_note.setdefault(harp.midi(tab), tab)
        low = 55 + int(self.random.integers(0, 6))
        self.scale = [by_note[note] for note in sorted(by_note) if low <= note <= low + 17]
        self.tonic = key_in_position(harp.key.tonic, drill.position or 1)

    def phrases(self) -> list[list[Note]]:
        """Return four phrases of two bars, each with a rest at its end."""
        random, count = self.random, len(self.scale)
        phrases = []
        for first in range(0, BARS * METER, 2 * METER):
            last = 2 * METER - random.choice([1.5, 2.0, 2.5])
            places = [b / 2 for b in range(int(2 * last)) if self._sounds(b)]
            phase, turns = random.uniform(0, 2 * np.pi), random.uniform(0.8, 1.7)
            phrase: list[Note] = []
            before = -1
            for i, place in enumerate(places):
                end = places[i + 1] if i + 1 < len(places) else last
                wave = 0.5 + 0.45 * np.sin(phase + 2 * np.pi * turns * place / last)
                degree = int(np.clip(wave * count + random.normal(0, 0.9), 0, count - 1))
                if (place % 2) == 0:
                    degree = self.near(degree, self.chord(first + place), before)
                elif degree == before:
                    degree += 1 if degree + 1 < count else -1
                before = degree
                beats = min(end - place, 1.5)
                phrase.append(Note(first + place, beats, self.scale[degree]))
            phrases.append(phrase)
        return phrases

    def _sounds(self, eighth: int) -> bool:
        weight = 1.0 if eighth % 4 == 0 else 0.75 if eighth % 2 == 0 else 0.5
        return bool(self.random.random() < weight)

    def chord(self, beat: float) -> list[int]:
        """Return the degrees of the chord on a beat, as places in the scale."""
        (here,) = [each for each in self.drill.chords if each.start <= beat < each.end]
        notes = {(self.tonic + each) % 12 for each in here.chord.half_steps}
        return [i for i, tab in enumerate(self.scale) if self.harp.midi(tab) % 12 in notes]

    def near(self, degree: int, among: Sequence[int], but: int = -1) -> int:
        """Return the place nearest to one, among some, if possible not a certain one."""
        others = [each for each in among if each != but] or list(among) or [degree]
        return min(others, key=lambda each: abs(each - degree))

    def chosen(self, count: int, fraction: float) -> set[int]:
        """Return a fraction of indices; a larger fraction contains a smaller."""
        order = np.random.default_rng(count).permutation(count)
        return set(order[: round(fraction * count)].tolist())

    def solo(self, criterion: str, size: float) -> list[Note]:
        """Return a solo with a fault of a size, 0 to 1, in one criterion."""
        phrases = self.phrases()
        if criterion == "variety":
            copies = self.chosen(3, size)
            for i in (each + 1 for each in copies):
                shift = phrases[i][0].beat // 8 * 8
                phrases[i] = [replace(note, beat=note.beat + shift) for note in phrases[0]]
        if criterion == "phrases":
            for i in self.chosen(4, size):
                start = phrases[i][-1].beat + phrases[i][-1].beats
                for beat in np.arange(np.ceil(2 * start) / 2, 8 * (i + 1), 0.5):
                    degree = int(self.random.integers(len(self.scale)))
                    phrases[i].append(Note(float(beat), 0.5, self.scale[degree]))
        notes = [note for phrase in phrases for note in phrase]
        change: Callable[[Note], Note] | None = {
            "scale": self._foreign,
            "harmony": self._off_chord,
            "pitch": lambda note: replace(note, fault=Fault(cents=-35.0)),
            "time": lambda note: replace(note, fault=Fault(late_ms=self._late())),
            "cleanness": lambda note: replace(note, fault=Fault(leak_db=-9.0)),
        }.get(criterion)
        if change is not None:
            touched = [
                i
                for i, note in enumerate(notes)
                if criterion not in ("scale", "harmony")
                or (note.beat % 2 == 0) == (criterion == "harmony")
            ]
            for i in self.chosen(len(touched), size):
                notes[touched[i]] = change(notes[touched[i]])
        if criterion == "range" and size:
            kept = max(1, round((1.0 - size) * len(self.scale)))
            notes = [
                replace(note, tab=self.scale[self.scale.index(note.tab) * kept // len(self.scale)])
                for note in notes
            ]
        return notes

    def _late(self) -> float:
        return 0.4 * 0.5 * 60_000.0 / self.drill.tempo

    def _foreign(self, note: Note) -> Note:
        scale = {self.harp.midi(tab) % 12 for tab in self.scale}
        others = [
            tab
            for tab in self.harp.entries
            if not tab.over and self.harp.midi(tab) % 12 not in scale
        ]
        here = self.harp.midi(note.tab)
        return replace(note, tab=min(others, key=lambda tab: abs(self.harp.midi(tab) - here)))

    def _off_chord(self, note: Note) -> Note:
        others = sorted(set(range(len(self.scale))) - set(self.chord(note.beat)))
        return replace(note, tab=self.scale[self.near(self.scale.index(note.tab), others)])

    def as_heard(self, notes: Sequence[Note], *, steady: bool = False) -> list[SoloNote]:
        """Return notes as the ear would measure them, with a player's small errors."""
        random = np.random.default_rng(7)
        beat_ms = 60_000.0 / self.drill.tempo
        heard = []
        for note in notes:
            late = 0.0 if steady else float(random.normal(0, TIMING_MS))
            cents = 0.0 if steady else float(random.normal(0, PITCH_CENTS))
            late_ms = note.fault.late_ms + late
            beat = note.beat + late_ms / beat_ms
            grid = abs((2 * beat + 0.5) % 1 - 0.5) / 2 * beat_ms
            heard.append(
                SoloNote(
                    *(0, 48_000, beat, grid, note.beats - 0.06, note.tab),
                    self.harp.midi(note.tab),
                    note.fault.cents + cents,
                    note.fault.leak_db,
                )
            )
        return heard

    def mark(self, notes: Sequence[Note]) -> SoloMark:
        """Return the mark of notes."""
        heard, (solo,) = self.as_heard(notes), self.drill.solos
        measured = measure_solo(solo, heard, self.drill, self.harp)
        return mark_solo(solo, heard, measured, self.drill, self.drill.clock(RATE))


def notes_table(count: int, results: Results) -> None:
    """Print the table of made-up notes."""
    harp = Harp.of("C")
    results.print(f"{'fault':<10}" + "".join(f"{x:7.2f}" for x in FRACTIONS) + "  rises  others")
    for criterion in SOLO_CRITERIA:
        marks = [
            [
                Composer(form(seed), harp, seed).mark(
                    Composer(form(seed), harp, seed).solo(criterion, size)
                )
                for size in FRACTIONS
            ]
            for seed in range(FIRST_SEED, FIRST_SEED + count)
        ]
        own = np.array([[each.criteria[criterion] for each in row] for row in marks])
        rises = int((np.diff(own, axis=1).max(axis=1) > SAME_POINTS).sum())
        falls = {
            other: mean(row[0].criteria[other] - row[-1].criteria[other] for row in marks)
            for other in SOLO_CRITERIA
            if other != criterion and other not in BY_NATURE.get(criterion, ())
        }
        worst = max(falls, key=falls.__getitem__)
        figures = "".join(f"{points:7.1f}" for points in own.mean(axis=0))
        results.print(
            f"{criterion:<10}{figures}  {rises:>2} of {count}  {falls[worst]:.1f} ({worst})"
        )


def degenerate(drill: Drill, composer: Composer) -> dict[str, list[Note]]:
    """Return what players play who do none of what is asked."""
    beats = np.arange(0, BARS * METER, 0.5)
    scale = composer.scale
    path = [*range(len(scale)), *range(len(scale) - 2, 0, -1)]
    home = composer.near(len(scale) // 2, composer.chord(0))
    random = np.random.default_rng(round(drill.tempo))
    everything = [tab for tab in composer.harp.entries if not tab.over]
    one_phrase = composer.phrases()[0]
    return {
        "nothing": [],
        "three notes": [Note(b, 1.0, scale[home]) for b in (0.0, 2.0, 4.0)],
        "one note, with rests": [Note(float(b), 0.5, scale[home]) for b in beats if b % 8 < 6],
        "scale up and down": [
            Note(float(b), 0.5, scale[path[i % len(path)]])
            for i, b in enumerate(b for b in beats if b % 8 < 6)
        ],
        "one phrase, four times": [
            replace(note, beat=note.beat + 8 * i) for i in range(4) for note in one_phrase
        ],
        "any notes at any time": [
            Note(float(b), 0.4, everything[int(random.integers(len(everything)))])
            for b in np.sort(random.uniform(0, BARS * METER, 50))
        ],
    }


def degenerate_table(count: int, results: Results) -> None:
    """Print the least criterion of players who do none of what is asked."""
    harp = Harp.of("C")
    results.print("", f"{'player':<24} least criterion, mean and highest   named by")
    rows: dict[str, list[SoloMark]] = {}
    for seed in range(FIRST_SEED, FIRST_SEED + count):
        composer = Composer(form(seed), harp, seed)
        for name, notes in degenerate(composer.drill, composer).items():
            rows.setdefault(name, []).append(composer.mark(notes))
    for name, marks in rows.items():
        least = [min(mark.criteria.values()) for mark in marks]
        by = [min(mark.criteria, key=mark.criteria.__getitem__) for mark in marks]
        usual = max(set(by), key=by.count)
        results.print(f"{name:<24} {mean(least):8.1f} {max(least):8.1f}{'':19}{usual}")


def sound_of(composer: Composer, notes: Sequence[Note], seed: int) -> tuple[Floats, BeatClock]:
    """Return notes as sound, and the clock of their beats."""
    drill = composer.drill
    clock = drill.clock(RATE, RATE)
    played = [
        (
            Step(0, ((note.tab,),), Fraction(note.beat).limit_denominator(16), _length(note)),
            note.fault,
        )
        for note in notes
    ]
    played.append((drill.steps[-1], Fault()))
    out = np.zeros(clock.sample(drill.end) + RATE)
    air = np.zeros(len(out))
    for voice in perform(composer.harp, Pace(clock), played, seed):
        voice.add_to(out, air, 0)
    noise = np.random.default_rng(seed).standard_normal(len(out))
    return out + 10.0 ** (-70.0 / 20.0) * noise, clock


def _length(note: Note) -> Fraction:
    return Fraction(note.beats).limit_denominator(16)


def ground_of(drill: Drill, harp: Harp, clock: BeatClock, count: int) -> Floats:
    """Return the ground of a drill as it is played."""
    player = Accompaniment(RATE)
    player.add(harp, clock, trainer_notes(drill))
    out = np.zeros(count, np.float32)
    player.mix(out, 0, lambda sample: sample)
    return out.astype(float)


def heard_mark(composer: Composer, notes: Sequence[Note], seed: int, room: Room | None) -> SoloMark:
    """Return the mark of notes as sound; with a room, the ground comes from a loudspeaker in it."""
    drill, harp = composer.drill, composer.harp
    sound, clock = sound_of(composer, notes, seed)
    ground = None
    if room is not None:
        ground = ground_of(drill, harp, clock, len(sound)).astype(np.float32)
        sound = sound + room.echo(ground)
    marker = Marker(drill, harp, clock, solos=drill.solos)
    for reading in hear(sound, ground, harp):
        marker.observe(reading)
    (mark,) = marker.result().solos
    return mark


def sound_table(count: int, results: Results) -> None:
    """Print what the same faults earn as sound."""
    harp = Harp.of("C")
    rooms: dict[str, Room | None] = {
        "dry": None,
        ROOMS[2].name: ROOMS[2],
        ROOMS[0].name: ROOMS[0],
    }
    seeds = range(FIRST_SEED, FIRST_SEED + count)
    results.print("", f"{'as sound, no fault':<22}" + "".join(f"{n:>10}" for n in SOLO_CRITERIA))
    for name, room in rooms.items():
        marks = []
        for seed in seeds:
            composer = Composer(form(seed), harp, seed)
            marks.append(heard_mark(composer, composer.solo("", 0.0), seed, room))
        means = [mean(mark.criteria[n] for mark in marks) for n in SOLO_CRITERIA]
        results.print(f"{name:<22}" + "".join(f"{points:10.1f}" for points in means))
    results.print("", f"{'as sound, dry':<22}{'all':>10}   all, as notes")
    for criterion in SOLO_CRITERIA:
        rows = []
        for seed in seeds:
            composer = Composer(form(seed), harp, seed)
            notes = composer.solo(criterion, 1.0)
            heard = heard_mark(composer, notes, seed, None).criteria[criterion]
            rows.append((heard, composer.mark(notes).criteria[criterion]))
        as_sound, as_notes = np.array(rows).mean(axis=0)
        results.print(f"{criterion:<22}{as_sound:10.1f}{as_notes:16.1f}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description="Faults in solos and what they earn.")
    parser.add_argument("--solos", type=int, default=100, help="solos as notes")
    parser.add_argument("--sounds", type=int, default=4, help="solos as sound")
    add_options(parser)
    options = parser.parse_args()
    results = Results(
        "benchmarks.solos",
        f"{options.solos} solos of eight bars made up from seed {FIRST_SEED}, in four forms; "
        f"{options.sounds} of them as sound",
        "no constant of the marking was chosen on them; the reeds of the sound are the built-in "
        "player's",
    )
    notes_table(2 if options.smoke else options.solos, results)
    degenerate_table(2 if options.smoke else options.solos, results)
    if not options.smoke:
        sound_table(options.sounds, results)
    results.finish(options)


if __name__ == "__main__":
    main()
