"""Make the table of the natural voice, `trainer/sound/performer/reeds.json`.

    python -m devtools.voice_table

Two sources are combined, see docs/dev/voice.md:

- recorded reeds of one sound font, `FITTED`: levels of the partials of an ordinary note, attack
  times, the glide at the start, and the noise between the partials, each smoothed over pitch;
- the simulation of `devtools/reed_model.py`: levels and phases of the partials of an ordinary note,
  and how attack and partials change with pressure and in a bend.

It takes minutes, and gives the same table each time: nothing in it is random.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np

from benchmarks.fonts import RATE, VOICES, prepare
from benchmarks.reed_sound import GLIDE_S, HELD, features, partial_levels
from devtools.reed_model import PARAMETERS as MODEL
from devtools.reed_model import Blown, Simulated, by_pitch, natural, simulate, sounding
from trainer.core.types import Floats

TABLE = Path(__file__).parent.parent / "trainer" / "sound" / "performer" / "reeds.json"
FITTED = "harmonica 1"
"""The recorded reeds that the table knows; the others of `benchmarks/fonts.py` are kept aside."""
MIDIS = (*range(43, 97, 3), 99, 102)
"""Pitches of the table."""
LAST_RECORDED = 94
FIRST_TIMED = 61
"""Lowest note whose attack counts: below it, the font plays one sample ever more slowly."""
PARTIALS = 32
LEVELS_DB = (-24.0, -18.0, -12.0, -6.0, 0.0, 6.0)
BENDS = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True)
class TableParameters:
    """Constants of the table. Chosen by hand unless stated otherwise."""

    pressures: tuple[float, ...] = (0.5, 0.6, 0.75, 1.0, 1.4, 2.0, 2.8)
    """Simulated pressures relative to that of an ordinary note."""
    tracts: tuple[float, float, int] = (-9.0, 10.0, 20)
    """Simulated resonances of the mouth, in half steps from the note: first, last, number."""
    bend_interval: float = 3.0
    """Half steps between the two reeds of a simulated bend."""
    bent_range_db: float = 15.0
    """Range of level of the simulated bends that count, in dB below the loudest."""
    max_bent_db: float = 15.0
    """Largest change of a partial by a bend, in dB."""
    smoothing: float = 4.0
    """Standard deviation of the smoothing over pitch, in half steps. Chosen by leaving
    out one sample of the recorded reeds at a time, see :func:`choose_part`."""
    recorded_part: float = 0.75
    """Weight of the recorded levels against the simulated ones. Chosen by leaving out one sample of
    the recorded reeds at a time, see :func:`choose_part`."""
    floor_db: float = -70.0
    """Lowest level of a partial."""
    max_slope: float = 1.5
    """Largest change of a partial's level re the fundamental for each dB of loudness, where the
    simulation has no softer note."""
    low_rise: float = 0.5
    """Octaves by which the attack grows longer for each octave below `FIRST_TIMED`. In the
    simulation it is 0.6 to 0.8."""
    max_glide_cents: float = 90.0
    """Largest depth of the glide at the start, in cents; recorded reeds speak 20 to 100 cents flat,
    and what they do in the first 20 ms, while they are soft, cannot be measured."""
    sag_cents: tuple[float, ...] = (4.0, 3.0, 2.0, 1.0, 0.0, -4.0)
    """Pitch by the levels of `LEVELS_DB`. Common practice: blown hard, a reed sounds flat by
    several cents. The simulated reed does not."""
    breath_gain_db: float = 14.0
    """Level of the breath over the noise of the recordings, which were made to be free of noise: so
    that it is heard."""
    top_slope_db: float = 10.0
    """Fall of all partials but the first above the highest recorded reed, in dB per octave."""


PARAMETERS = TableParameters()


def hz_of(midi: float) -> float:
    """Return the pitch of a MIDI note number in hertz."""
    return 440.0 * 2.0 ** ((midi - 69) / 12.0)


def smooth(midis: Floats, values: Floats, at: Floats) -> Floats:
    """Return values smoothed over pitch by a Gaussian of `smoothing` half steps, NaN left out.

    Args:
        midis: where the values lie, shape (n,).
        values: shape (n, ...).
        at: where they are wanted, shape (m,).
    """
    weights = np.exp(-0.5 * ((at[:, None] - midis) / PARAMETERS.smoothing) ** 2)
    shape = (len(at), len(midis)) + (1,) * (values.ndim - 1)
    present = weights.reshape(shape) * ~np.isnan(values)[None]
    total = np.sum(present * np.nan_to_num(values)[None], axis=1)
    return np.asarray(total / np.maximum(np.sum(present, axis=1), 1e-30))


@dataclass(frozen=True)
class Recorded:
    """What was measured on recorded reeds, one row for each note of `midis`.

    Attributes:
        midis: MIDI note numbers.
        partials_db: levels re the whole, shape (n, PARTIALS); NaN where there are none.
        rise_ms: time from -20 to -1 dB.
        glide: pitch re the held one by time, cents.
        noise_db: between the partials.
    """

    midis: Floats
    partials_db: Floats
    rise_ms: Floats
    glide: Floats
    noise_db: Floats


def measure() -> Recorded:
    """Measure the recorded reeds."""
    midis = [midi for midi in MIDIS if midi <= LAST_RECORDED]
    prepare(midis, 1)
    partials, sounds = np.full((len(midis), PARTIALS), np.nan), []
    for i, midi in enumerate(midis):
        reed = VOICES[FITTED].reed(midi)
        sound = features(reed.samples, RATE, hz_of(midi))
        start, stop = (reed.speaks + round(at * RATE) for at in HELD)
        cut = reed.samples[start:stop]
        count = min(PARTIALS, int(20e3 / sound.hz))
        levels = partial_levels(cut, RATE, sound.hz, count) / np.sqrt(np.mean(cut**2))
        partials[i, :count] = np.maximum(20.0 * np.log10(levels), PARAMETERS.floor_db)
        sounds.append(sound)
    return Recorded(
        np.array(midis, dtype=float),
        partials,
        np.array([1e3 * sound.rise_s for sound in sounds]),
        np.array([sound.glide_cents for sound in sounds]),
        np.array([sound.noise_db for sound in sounds]),
    )


def levels_of(course: Simulated, case: int, near_hz: float) -> tuple[float, Floats, Floats, float]:
    """Return level in dB, levels of the partials re it, their phases in cycles, and the pitch."""
    end = sounding(course, case, near_hz, PARTIALS)
    power = float(np.sum(np.abs(end.partials) ** 2))
    levels = 20.0 * np.log10(np.abs(end.partials) / np.sqrt(power) + 1e-9)
    cycles = np.angle(end.partials) / (2.0 * np.pi)
    cycles = (cycles - np.arange(1, PARTIALS + 1) * cycles[0]) % 1.0
    return 10.0 * np.log10(power + 1e-30), np.maximum(levels, PARAMETERS.floor_db), cycles, end.hz


def rise_of(course: Simulated, case: int, near_hz: float) -> float:
    """Return the time in ms in which the radiated level rises from -20 to -1 dB."""
    rate = float(course.rate[case])
    radiated = np.gradient(course.outflow[:, case])
    length = round(2.0 * rate / near_hz)
    level = np.sqrt(np.convolve(radiated**2, np.ones(length) / length, "valid"))
    level /= np.median(level[-len(level) // 4 :])
    last_soft = len(level) - 1 - int(np.argmax(level[::-1] < 0.1)) if np.any(level < 0.1) else 0
    return 1e3 * (int(np.argmax(level[last_soft:] > 0.89))) / rate


@dataclass(frozen=True)
class Answers:
    """What simulated reeds do, one row for each of `MIDIS`.

    Attributes:
        partials_db: of an ordinary note, shape (m, k).
        by_level_db: change of these by the level, shape (m, a, k).
        cycles: phases, shape (m, k).
        rise: time of the attack relative to that of an ordinary note, shape (m, a).
        bent_db: change of the partials by the bend, shape (m, b, k).
    """

    partials_db: Floats
    by_level_db: Floats
    cycles: Floats
    rise: Floats
    bent_db: Floats


def simulate_table() -> Answers:
    """Simulate natural notes by pressure, and bends."""
    midis = np.array(MIDIS, dtype=float)
    hz = np.array([hz_of(midi) for midi in midis])
    ordinary = by_pitch(MODEL.pressures_pa, hz)
    factors = PARAMETERS.pressures
    blown = natural(np.tile(hz, len(factors)), 2.0, np.concatenate([ordinary * f for f in factors]))
    course = simulate(blown, 0.5)
    notes = [
        [levels_of(course, i * len(hz) + m, float(hz[m])) for i in range(len(factors))]
        for m in range(len(hz))
    ]
    rises = np.array(
        [
            [rise_of(course, i * len(hz) + m, float(hz[m])) for i in range(len(factors))]
            for m in range(len(hz))
        ]
    )
    middle = factors.index(1.0)
    partials = np.array([row[middle][1] for row in notes])
    cycles = np.array([row[middle][2] for row in notes])
    by_level = np.array([_by_level(row, middle) for row in notes])
    rise = np.array([_rise_by_level(notes[m], rises[m], middle) for m in range(len(hz))])
    by_level = smooth(midis, by_level, midis)
    rise = np.tile(np.nanmedian(rise, axis=0), (len(hz), 1))
    return Answers(partials, by_level, cycles, rise, _simulate_bends(midis, hz, ordinary))


def _sounding(row: list[tuple[float, Floats, Floats, float]], middle: int) -> list[int]:
    """Return the pressures at which a note sounds as itself, softer ones rising."""
    return [i for i, at in enumerate(row) if abs(np.log2(at[3] / row[middle][3])) < 1.0 / 24.0
            and at[0] > row[middle][0] - 30.0]  # fmt: skip


def _by_level(row: list[tuple[float, Floats, Floats, float]], middle: int) -> Floats:
    """Return the change of the partials at `LEVELS_DB`, shape (a, k)."""
    kept = _sounding(row, middle)
    levels = np.array([row[i][0] - row[middle][0] for i in kept])
    order = np.argsort(levels)
    levels = levels[order]
    changes = np.array([row[kept[i]][1] - row[middle][1] for i in order])
    out = np.array([np.interp(LEVELS_DB, levels, column) for column in changes.T]).T
    if len(levels) > 1:  # below the softest note, go on as from there to the ordinary one
        slope = (changes[-1] - changes[0]) / max(levels[-1] - levels[0], 1.0)
        slope = np.clip(slope - slope[0], 0.0, PARAMETERS.max_slope)
        below = np.minimum(0.0, np.array(LEVELS_DB) - levels[0])
        out += below[:, None] * slope
    return out


def _rise_by_level(
    row: list[tuple[float, Floats, Floats, float]], rises: Floats, middle: int
) -> Floats:
    """Return the time of the attack at `LEVELS_DB` relative to that of an ordinary note."""
    kept = _sounding(row, middle)
    levels = np.array([row[i][0] - row[middle][0] for i in kept])
    order = np.argsort(levels)
    return np.interp(LEVELS_DB, levels[order], np.array([rises[kept[i]] for i in order])) / max(
        rises[middle], 1e-3
    )


def _simulate_bends(midis: Floats, hz: Floats, ordinary: Floats) -> Floats:
    """Return the change of the partials at the fractions `BENDS`, shape (m, b, k)."""
    chosen = np.arange(0, len(midis), 3)
    first, last, count = PARAMETERS.tracts
    steps = np.linspace(first, last, count)
    closing = np.repeat(hz[chosen], count)
    blown = Blown(
        closing,
        closing * 2.0 ** (-PARAMETERS.bend_interval / 12.0),
        1.5 * np.repeat(ordinary[chosen], count),
        closing * 2.0 ** (np.tile(steps, len(chosen)) / 12.0),
    )
    course = simulate(blown, 0.4)
    rows = []
    for m in range(len(chosen)):
        near = float(hz[chosen[m]])
        notes = [levels_of(course, m * count + i, near) for i in range(count)]
        loudest = max(at[0] for at in notes)
        places = [
            (-12.0 * np.log2(at[3] / near) / PARAMETERS.bend_interval, at[1])
            for at in notes
            if at[0] > loudest - PARAMETERS.bent_range_db
        ]
        places = sorted((place for place in places if -0.1 < place[0] < 1.1), key=lambda at: at[0])
        at, levels = np.array([p[0] for p in places]), np.array([p[1] for p in places])
        table = np.array([np.interp(BENDS, at, column) for column in levels.T]).T
        rows.append(np.clip(table - table[0], -PARAMETERS.max_bent_db, PARAMETERS.max_bent_db))
    return smooth(midis[chosen], np.array(rows), midis)


def choose_part(recorded: Recorded, answers: Answers) -> dict[float, float]:
    """Return how far combined levels are from recorded ones that they do not know.

    Notes of one sample, whose levels are alike, are left out together.

    Returns:
        RMS difference in dB over the first 12 partials, by the weight of the recorded levels.
    """
    sample = np.zeros(len(recorded.midis), int)
    for i in range(1, len(sample)):
        change = np.nanmax(np.abs(recorded.partials_db[i, :5] - recorded.partials_db[i - 1, :5]))
        sample[i] = sample[i - 1] + (change > 4.0)
    errors: dict[float, list[Floats]] = {}
    midis = np.array(MIDIS, dtype=float)
    simulated = smooth(midis, answers.partials_db, midis)[: len(sample)]
    for left_out in range(int(sample[-1]) + 1):
        kept, out = sample != left_out, sample == left_out
        at = recorded.midis[out]
        guess = smooth(recorded.midis[kept], recorded.partials_db[kept], at)
        for part in (0.0, 0.25, 0.5, 0.75, 1.0):
            mixed = part * guess + (1.0 - part) * simulated[out]
            errors.setdefault(part, []).append((mixed - recorded.partials_db[out])[:, :12])
    return {
        part: float(np.sqrt(np.nanmean(np.concatenate(differences) ** 2)))
        for part, differences in errors.items()
    }


def make(recorded: Recorded, answers: Answers) -> dict[str, list[float]]:
    """Combine the sources."""
    midis = np.array(MIDIS, dtype=float)
    above = np.maximum(0.0, midis - LAST_RECORDED) / 12.0
    known = np.minimum(midis, LAST_RECORDED)
    levels = smooth(recorded.midis, recorded.partials_db, known)
    part = PARAMETERS.recorded_part
    levels = part * levels + (1.0 - part) * smooth(midis, answers.partials_db, midis)
    levels[:, 1:] -= PARAMETERS.top_slope_db * above[:, None]
    levels = np.maximum(levels, PARAMETERS.floor_db)
    from_20_db = (np.pi / 2) / (np.arcsin(0.89) - np.arcsin(0.1))  # the voice rises as a sine
    timed = recorded.midis >= FIRST_TIMED
    spoken, at = recorded.midis[timed], np.maximum(known, FIRST_TIMED)
    rise = np.exp(smooth(spoken, np.log(recorded.rise_ms[timed]), at)) * from_20_db
    rise *= 2.0 ** (PARAMETERS.low_rise * (at - midis) / 12.0 * (midis < FIRST_TIMED))
    depth, constant = (values[timed] for values in _glide(recorded))
    table = {
        "hz": [hz_of(midi) for midi in MIDIS],
        "level_db": list(LEVELS_DB),
        "bend": list(BENDS),
        "partials_db": levels[:, None] + answers.by_level_db,
        "bent_db": answers.bent_db,
        "cycles": answers.cycles,
        "rise_ms": rise[:, None] * answers.rise,
        "glide_cents": smooth(spoken, depth, at),
        "glide_ms": np.exp(smooth(spoken, np.log(constant), at)),
        "sag_cents": np.tile(PARAMETERS.sag_cents, (len(midis), 1)),
        "breath_db": smooth(recorded.midis, recorded.noise_db, known) + PARAMETERS.breath_gain_db,
    }
    digits = {"cycles": 2, "bend": 2}
    return {
        name: np.round(np.asarray(values), digits.get(name, 1)).tolist()
        for name, values in table.items()
    }


def _glide(recorded: Recorded) -> tuple[Floats, Floats]:
    """Fit -depth (1 - t / length)² to each note's glide; cents and ms."""
    times = 1e3 * np.array(GLIDE_S)
    depths, lengths = [], []
    for track in recorded.glide:
        here = ~np.isnan(track)
        fits = [_misfit(times[here], track[here], tried) for tried in np.geomspace(24.0, 200.0, 40)]
        _, depth, length = min(fits)
        depths.append(depth)
        lengths.append(length)
    return np.array(depths), np.array(lengths)


def _misfit(times: Floats, track: Floats, length: float) -> tuple[float, float, float]:
    """Return squared error, depth and length of the best fit of that length."""
    shape = np.maximum(0.0, 1.0 - times / length) ** 2
    depth = -float(shape @ track) / max(float(shape @ shape), 1e-9)
    depth = min(max(depth, 0.0), PARAMETERS.max_glide_cents)
    return float(np.sum((track + depth * shape) ** 2)), depth, length


def main() -> None:
    """Make the table."""
    with np.errstate(all="ignore"):
        recorded, answers = measure(), simulate_table()
    for part, error in choose_part(recorded, answers).items():
        print(f"recorded part {part:g}: {error:.1f} dB from a sample left out")
    lines = [f'"{name}": {json.dumps(values)}' for name, values in make(recorded, answers).items()]
    TABLE.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
    print(f"{TABLE.name}: {TABLE.stat().st_size / 1024:.0f} KiB")


if __name__ == "__main__":
    main()
