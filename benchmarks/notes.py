"""Figures of whole notes: onset, end, vibrato, tremolo, scoop and settling time.

    python -m benchmarks.notes [--every 6] [--processes 1]

Conventions. Times are in seconds, pitches in cents, levels in dB. Recorded reeds
(`benchmarks/corpus.py`) follow a known path, or are interrupted by a known envelope. A note starts
with its sound and ends where its level has fallen by half. Notes are matched by their starts,
within 50 ms as in MIREX.
"""

from __future__ import annotations

import argparse
import zlib
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise

import numpy as np

from benchmarks import results
from benchmarks.corpus import (
    LEAD_S,
    Item,
    PitchPath,
    Player,
    Sound,
    hand,
    hard,
    natural,
    noisy,
    vibrato,
)
from benchmarks.fonts import RATE, VOICES
from benchmarks.measure import hear
from trainer.core.types import Floats
from trainer.ear import Reading, track_notes

FADE_S = 0.02
"""Length of the linear fade by which the corpus releases a sound."""
EDGE_S = 0.005
"""Time in which a tongue or a throat closes, and opens."""
BEFORE_S = 0.4
"""Time after the onset at which a note is interrupted."""
SETTLED_CENTS = 10.0
NEAR_S = 0.05
LISTENS_S = 0.1
"""Attacks before this time are ignored: a passage that begins with noise has one."""
VIBRATOS = ((5.5, 40.0), (6.5, 15.0), (4.0, 25.0), (8.0, 10.0), (5.0, 5.0), (3.5, 30.0))
TREMOLOS = ((5.0, 3.0), (7.0, 1.5), (4.0, 5.0), (8.0, 3.0))
CYCLES = (1.5, 2.0, 3.0)
DIPS = tuple((db, ms) for db in (6.0, 10.0, 20.0, np.inf) for ms in (20, 40, 60))
KEYS = {
    "harmonica 1": ("C", "low F", "high G"),
    "harmonica 2": ("A", "low F"),
    "reed organ 1": ("G",),
    "reed organ 2": ("C",),
}


@dataclass(frozen=True)
class Played:
    """A passage and the truth about it.

    Attributes:
        item: the sound.
        starts, ends: of its notes, seconds.
        vibrato: rate in Hz and depth in ± cents of its only note; None is none.
        tremolo: the same, with depth in dB.
        scoop: cents from its pitch at which its only note starts; NaN if unknown.
        settles: settling time of its only note to within 10 cents; NaN if unknown.
    """

    item: Item
    starts: tuple[float, ...]
    ends: tuple[float, ...]
    vibrato: tuple[float, float] | None = None
    tremolo: tuple[float, float] | None = None
    scoop: float = np.nan
    settles: float = np.nan


def _single(item: Item) -> Played:
    """Return an item that is one note; a linear fade has fallen by half in its middle."""
    return Played(item, (item.begins,), (item.until + FADE_S / 2.0,))


def _moved(player: Player, kind: str, path: PitchPath, length: float, every: int) -> Iterator[Item]:
    """Yield notes that follow a path."""
    tabs = player.naturals
    for tab in tabs[zlib.crc32(f"{player.harp.name} {kind}".encode()) % every :: every]:
        sound = hard(player.reed(tab), length, path, player.cents(tab))
        yield player.item(kind, [tab], [sound])


def _attenuate(item: Item, level: Callable[[Floats], Floats]) -> Item:
    """Change an item's level by dB at times after the onset."""
    t = (np.arange(len(item.samples)) - item.onset) / RATE
    return replace(item, samples=item.samples * 10.0 ** (level(t) / 20.0))


def swings(player: Player, every: int) -> Iterator[Played]:
    """Yield vibratos from 0.2 s after the onset on."""
    for hz, depth in VIBRATOS:
        for item in _moved(player, f"vibrato {hz} {depth}", vibrato(depth, hz), 1.2, every):
            yield replace(_single(item), vibrato=(hz, depth))


def uneven_swings(player: Player, every: int) -> Iterator[Played]:
    """Yield irregular vibratos: rate and depth vary by 5 and 10 %, and the pitch wanders."""
    for hz, depth in VIBRATOS:
        seed = zlib.crc32(f"{player.harp.name} {hz} {depth}".encode())
        rates, depths, pitch = (wander(1.0, hz, seed + i) for i, hz in enumerate((1.0, 1.0, 4.0)))
        grid = np.arange(0.0, 4.0, 0.001)
        turns = 2.0 * np.pi * np.cumsum(hz * (1.0 + 0.05 * rates(grid))) * 0.001

        def path(
            t: Floats,
            depth: float = depth,
            depths: PitchPath = depths,
            pitch: PitchPath = pitch,
            grid: Floats = grid,
            turns: Floats = turns,
        ) -> Floats:
            swung = depth * (1.0 + 0.1 * depths(t)) * np.sin(np.interp(t, grid, turns))
            return np.clip((t - 0.15) / 0.2, 0.0, 1.0) * swung + pitch(t)

        swings = (grid > 0.25) & (grid < 1.15)
        known = (
            float(np.ptp(turns[swings]) / (2.0 * np.pi * 0.9)),
            float(np.mean(depth * (1.0 + 0.1 * depths(grid[swings])))),
        )
        for item in _moved(player, f"uneven vibrato {hz} {depth}", path, 1.2, every):
            yield replace(_single(item), vibrato=known)


def short_swings(player: Player, every: int, cycles: float) -> Iterator[Played]:
    """Yield notes with `cycles` cycles of 5.5 Hz and 25 cents in the middle."""
    until = 0.3 + cycles / 5.5

    def path(t: Floats) -> Floats:
        return np.where(t < until, vibrato(25.0, 5.5, 0.3)(t), 0.0)

    for item in _moved(player, f"{cycles} cycles", path, 1.0, every):
        yield replace(_single(item), vibrato=(5.5, 25.0))


def level_swings(player: Player, every: int) -> Iterator[Played]:
    """Yield tremolos: the level swings in dB, the pitch does not."""
    for hz, depth in TREMOLOS:
        for item in _moved(player, f"tremolo {hz} {depth}", np.zeros_like, 1.2, every):
            swung = _attenuate(item, partial(_sine, hz, depth))
            yield replace(_single(swung), tremolo=(hz, depth))


def wander(cents: float, hz: float, seed: int) -> PitchPath:
    """Return a random path: Gaussian low-pass noise of bandwidth `hz` and deviation `cents`."""
    grid = np.arange(0.0, 4.0, 0.005)
    rng = np.random.default_rng(seed)
    rates = np.fft.rfftfreq(len(grid), 0.005)
    noise = np.fft.irfft(
        np.fft.rfft(rng.standard_normal(len(grid))) * np.exp(-0.5 * (rates / hz) ** 2), len(grid)
    )
    return lambda t: np.interp(t, grid, cents * noise / noise.std())


def plain(player: Player, every: int) -> Iterator[Played]:
    """Yield passages with neither vibrato nor tremolo."""
    still = [
        *player.steady(),
        *player.hard_onsets(),
        *player.bends(100.0, 0.15),
        *player.bends(200.0, 0.12),
    ]
    yield from map(_single, still[zlib.crc32(player.harp.name.encode()) % every :: every])
    for i, (cents, hz) in enumerate(((2.0, 8.0), (3.0, 4.0), (5.0, 2.0))):
        path = wander(cents, hz, i + zlib.crc32(player.harp.name.encode()))
        yield from map(_single, _moved(player, f"wander {cents} {hz}", path, 1.2, every))
    yield from map(_single, _moved(player, "drift", lambda t: 30.0 * t, 1.2, every))
    yield from map(_single, list(player.pairs(-6.0))[::every])


def scoops(player: Player, every: int) -> Iterator[Played]:
    """Yield notes that reach their pitch from below or above, linearly or exponentially."""
    shapes: dict[str, tuple[float, float, PitchPath]] = {}
    for cents, seconds in ((-60.0, 0.08), (-40.0, 0.15), (100.0, 0.1), (-30.0, 0.05)):
        inside = seconds * (1.0 - SETTLED_CENTS / abs(cents))
        shapes[f"line {cents} {seconds}"] = (
            cents,
            inside,
            partial(_line, cents, seconds),
        )
        tau = seconds / 3.0
        shapes[f"decay {cents} {seconds}"] = (
            cents,
            tau * float(np.log(abs(cents) / SETTLED_CENTS)),
            partial(_decay, cents, tau),
        )
    for name, (cents, settles, path) in shapes.items():
        for item in _moved(player, f"scoop, {name}", path, 0.8, every):
            yield replace(_single(item), scoop=cents, settles=settles)


def again(player: Player, every: int, db: float, ms: float) -> Iterator[Played]:
    """Yield a note attacked twice: its level dips by `db` for `ms`, with edges of 5 ms."""
    gap = ms / 1000.0
    depth = min(db, 200.0)
    corners = BEFORE_S + np.array([0.0, EDGE_S, gap - EDGE_S, gap])

    def level(t: Floats) -> Floats:
        shut = 0.5 - 0.5 * np.cos(np.pi * np.interp(t, corners, [0.0, 1.0, 1.0, 0.0]))
        return 20.0 * np.log10(1.0 - (1.0 - 10.0 ** (-depth / 20.0)) * shut)

    for item in _moved(player, f"again {db} {ms}", np.zeros_like, 0.9, every):
        alone = _single(_attenuate(item, level))
        second = item.begins + BEFORE_S + gap - EDGE_S
        first_ends = item.begins + BEFORE_S + EDGE_S / 2.0
        yield replace(alone, starts=(item.begins, second), ends=(first_ends, *alone.ends))


def spoken_again(player: Player, every: int, ms: float) -> Iterator[Played]:
    """Yield a note twice with the reed's own attack, the first released in 20 ms."""
    tabs = player.naturals
    for tab in tabs[zlib.crc32(player.harp.name.encode()) % every :: every]:
        sound = natural(player.reed(tab), 0.5, player.cents(tab))
        second = len(sound.samples) + round(ms * RATE / 1000.0)
        item = player.item(f"spoken again {ms}", [tab], [_in_a_row(sound, sound, second)])
        first_ends = LEAD_S + len(sound.samples) / RATE - FADE_S / 2.0
        yield Played(
            item,
            (item.begins, item.begins + second / RATE),
            (first_ends, item.until + FADE_S / 2.0),
        )


def slides(player: Player, every: int) -> Iterator[Played]:
    """Yield slides from a hole to the next in the same breath, with a crossfade of 20 ms."""
    for row in (0, 1):
        tabs = [tab for tab in player.naturals if tab.startswith("-") == bool(row)]
        for low, high in list(pairwise(tabs))[row::every]:
            first = hard(player.reed(low), 0.5, cents=player.cents(low))
            other = hard(player.reed(high), 0.5, cents=player.cents(high))
            fade = round(FADE_S * RATE)
            coming = np.concatenate([np.linspace(0.0, 1.0, fade), np.ones(len(other.samples))])
            samples = other.samples * coming[: len(other.samples)] * (first.rms / other.rms)
            other = replace(other, samples=samples)
            second = len(first.samples) - fade
            item = player.item("slide", [low], [_in_a_row(first, other, second)])
            middle = LEAD_S + (second + fade / 2.0) / RATE
            yield Played(item, (item.begins, middle), (middle, item.until + FADE_S / 2.0))


def _sine(hz: float, depth: float, t: Floats) -> Floats:
    return depth * np.sin(2 * np.pi * hz * t)


def _line(cents: float, seconds: float, t: Floats) -> Floats:
    return cents * np.clip(1.0 - t / seconds, 0.0, 1.0)


def _decay(cents: float, tau: float, t: Floats) -> Floats:
    return cents * np.exp(-np.maximum(t, 0.0) / tau)


def _in_a_row(first: Sound, other: Sound, at: int) -> Sound:
    """Add a second sound at a sample of the first."""
    samples = np.zeros(at + len(other.samples))
    samples[: len(first.samples)] += first.samples
    samples[at:] += other.samples
    return replace(first, samples=samples)


def _in_noise(passages: Iterator[Played], snr_db: float) -> Iterator[Played]:
    return (replace(passage, item=noisy(passage.item, snr_db)) for passage in passages)


def _wahs(player: Player, every: int) -> Iterator[Played]:
    for item in _moved(player, "wah", np.zeros_like, 0.9, every):
        yield _single(replace(item, samples=hand(item.samples, item.onset)))


MATERIALS: dict[str, Callable[[Player, int], Iterator[Played]]] = {
    "vibrato": swings,
    "uneven vibrato": uneven_swings,
    "vibrato 20 dB": lambda player, every: _in_noise(swings(player, every), 20.0),
    **{f"cycles {n}": partial(short_swings, cycles=n) for n in CYCLES},
    "tremolo": level_swings,
    "wah": _wahs,
    "plain": plain,
    "plain 20 dB": lambda player, every: _in_noise(plain(player, every), 20.0),
    "scoop": scoops,
    **{f"again {db:g} {ms}": partial(again, db=db, ms=ms) for db, ms in DIPS},
    **{f"spoken again {ms}": partial(spoken_again, ms=ms) for ms in (20, 40, 60)},
    "slide": slides,
}
SWINGING = ("vibrato", "uneven vibrato", "vibrato 20 dB", *(f"cycles {n}" for n in CYCLES))
ATTACKED = tuple(name for name in MATERIALS if "again" in name)

Values = dict[str, list[float]]


def judge(passage: Played, readings: Sequence[Reading]) -> Values:
    """Compare the ear's notes of a passage with the truth.

    Returns:
        ``detected``: whether each note is; ``extra``: number of other notes; ``attacks``: number of
        other attacks; ``onset`` and ``end``: errors in seconds of detected notes. Of a single note
        also ``vibrato`` and ``tremolo``: whether one is detected; ``rate`` (relative) and
        ``depth``: their errors (``level rate``, ``level depth`` for tremolo); ``scoop`` in cents
        and ``settle`` in seconds: errors.
    """
    values: Values = defaultdict(list)
    heard = list(track_notes(readings, passage.item.harp))
    attacks = [r.onset / r.rate for r in readings if r.onset is not None]
    attacks = [at for at in attacks if at > LISTENS_S]
    values["attacks"].append(float(max(0, len(attacks) - len(passage.starts))))
    left = list(heard)
    for start, end in zip(passage.starts, passage.ends, strict=True):
        near = [note for note in left if abs(note.start / note.rate - start) < NEAR_S]
        values["detected"].append(float(bool(near)))
        if near:
            best = min(near, key=lambda note: abs(note.start / note.rate - start))
            left.remove(best)
            values["onset"].append(best.start / best.rate - start)
            values["end"].append(best.end / best.rate - end)
    values["extra"].append(float(len(left)))
    if len(passage.starts) > 1 or len(heard) != 1:
        return values
    motion, tremolo = heard[0].motion, heard[0].tremolo
    values["vibrato"].append(float(motion.vibrato is not None))
    values["tremolo"].append(float(tremolo is not None))
    if passage.vibrato and motion.vibrato:
        values["rate"].append(motion.vibrato.hz / passage.vibrato[0] - 1.0)
        values["depth"].append(motion.vibrato.depth - passage.vibrato[1])
    if passage.tremolo and tremolo:
        values["level rate"].append(tremolo.hz / passage.tremolo[0] - 1.0)
        values["level depth"].append(tremolo.depth - passage.tremolo[1])
    if motion.scoop_cents is not None and motion.settle_ms is not None:
        values["scoop"].append(motion.scoop_cents - passage.scoop)
        values["settle"].append(motion.settle_ms / 1000.0 - passage.settles)
    return values


@dataclass(frozen=True)
class Job:
    """One material on one harp; 1 in `every` notes is played."""

    material: str
    voice: str
    key: str
    every: int


def score(job: Job) -> Values:
    """Measure all passages of a job."""
    values: Values = defaultdict(list)
    for passage in MATERIALS[job.material](Player(job.voice, job.key), job.every):
        for name, selected in judge(passage, hear(passage.item)).items():
            values[name] += selected
    return values


Scores = dict[tuple[bool, str], Values]
"""Values by whether the voice was held out from tuning, and by material."""


def measure_all(every: int, processes: int, materials: Sequence[str] = tuple(MATERIALS)) -> Scores:
    """Measure all materials; 1 in `every` notes is played."""
    jobs = [
        Job(material, voice, key, every)
        for material in materials
        for voice, keys in KEYS.items()
        for key in keys
    ]
    scores: Scores = defaultdict(lambda: defaultdict(list))
    with ProcessPoolExecutor(processes) as pool:
        for job, values in zip(jobs, pool.map(score, jobs), strict=True):
            for name, selected in values.items():
                scores[VOICES[job.voice].aside, job.material][name] += selected
    return scores


def table(
    every: int = 6, processes: int = 1, materials: Sequence[str] = tuple(MATERIALS)
) -> Iterator[str]:
    """Yield the figures in Markdown, of voices tuned on and held out."""
    scores = measure_all(every, processes, materials)

    def values(aside: bool, measure: str, *materials: str) -> Floats:
        groups = [np.array(scores[aside, name][measure]) for name in materials]
        return np.concatenate(groups)

    def row(name: str, measure: str, figure: Callable[[Floats], str], *materials: str) -> str:
        both = [values(aside, measure, *materials) for aside in (False, True)]
        cells = [
            cell
            for selected in both
            for cell in (figure(selected) if len(selected) else "–", len(selected))
        ]
        return f"| {name} | " + " | ".join(map(str, cells)) + " |"

    yield "| | tuned on | n | held out | n |"
    yield "| --- | --- | --- | --- | --- |"
    for name in SWINGING:
        yield row(f"detected, {name}", "vibrato", _share, name)
    for name in SWINGING[:3]:
        yield row(f"rate, % off, {name}", "rate", _errors(100.0), name)
        yield row(f"depth, cents off, {name}", "depth", _errors(1.0), name)
    for name in ("plain", "plain 20 dB", "scoop", "tremolo", "wah"):
        yield row(f"false vibrato, {name}", "vibrato", _share, name)
    yield row("detected, tremolo", "tremolo", _share, "tremolo")
    yield row("rate, % off, tremolo", "level rate", _errors(100.0), "tremolo")
    yield row("depth, dB off, tremolo", "level depth", _errors(1.0, 2), "tremolo")
    yield row("wah detected as tremolo", "tremolo", _share, "wah")
    for name in ("plain", "plain 20 dB", "scoop", "vibrato"):
        yield row(f"false tremolo, {name}", "tremolo", _share, name)
    yield row("scoop, cents off", "scoop", _errors(1.0), "scoop")
    yield row("settling, ms off", "settle", _errors(1000.0), "scoop")
    for name in (*ATTACKED, "slide"):
        yield row(f"notes detected, {name}", "detected", _share, name)
    yield row("extra notes in those", "extra", _sum, *ATTACKED, "slide")
    yield row("extra attacks in those", "attacks", _sum, *ATTACKED, "slide")
    still = [name for name in MATERIALS if name not in (*ATTACKED, "slide")]
    for name in still:
        yield row(f"extra notes, {name}", "extra", _sum, name)
    yield row("extra attacks in all of those", "attacks", _sum, *still)
    yield row("onset, ms off", "onset", _errors(1000.0), *still)
    yield row("onset, ms off, re-attacked", "onset", _errors(1000.0), *ATTACKED)
    loud = [name for name in still if name not in ("tremolo", "wah")]
    yield row("end, ms off", "end", _errors(1000.0), *loud)
    yield row("end, ms off, level swinging", "end", _errors(1000.0), "tremolo", "wah")
    yield row("end, ms off, re-attacked", "end", _errors(1000.0), *ATTACKED)
    yield row("onset, ms off, slide", "onset", _errors(1000.0), "slide")


def _share(values: Floats) -> str:
    return f"{np.mean(values):.3f}" if len(values) else "–"


def _sum(values: Floats) -> str:
    return f"{np.sum(values):.0f}"


def _errors(scale: float, digits: int = 1) -> Callable[[Floats], str]:
    """Return a figure: the median and the 95th percentile of the absolute value."""

    def figure(values: Floats) -> str:
        selected = scale * values
        size = np.quantile(np.abs(selected), 0.95)
        return f"{np.median(selected):+.{digits}f}, 95 % under {size:.{digits}f}"

    return figure


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.notes")
    parser.add_argument("--every", type=int, default=6, help="play 1 in this many notes")
    parser.add_argument("--processes", type=int, default=1)
    results.add_options(parser)
    options = parser.parse_args()
    every = 200 if options.smoke else options.every
    output = results.Results(
        "benchmarks.notes",
        f"recorded reeds of four voices along known paths, 1 in {every} notes",
        "voice harmonica 1 was used to tune the ear, the others were not",
    )
    materials = ("slide",) if options.smoke else tuple(MATERIALS)
    for line in table(every, options.processes, materials):
        output.print(line)
    output.finish(options)


if __name__ == "__main__":
    main()
