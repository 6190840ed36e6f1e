"""Fit the weights by which harps are ranked.

    python -m training.rank_harps OUT.npz [--tunes 4000] [--hidden 16] [--epochs 6] [--seed 1]
    python -m training.rank_harps OUT.npz --leave-out 1 16 40 --decays 0.03 0.1

The loss is the cross-entropy of the true harp and position among all harps and positions, on tunes
of the generators of :mod:`training.harp_tunes`; Adam with decoupled decay (Loshchilov and Hutter
2019) and a cosine schedule. Numpy alone; everything follows from the seed.

With ``--leave-out``, the tunes of each generator are ranked by weights that were fitted on those
of the others, for each size and decay. On that they are chosen, and probabilities are calibrated: a
temperature (Guo et al. 2017) that may change with the number of notes. It is stored beside the
weights.
"""

from __future__ import annotations

import argparse
import itertools
import os
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, fields
from functools import partial

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# isort: split

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from trainer.harp import STANDARD_KEYS, Harp
from trainer.transcript.harp_evidence import gather_evidence
from trainer.transcript.harp_guess import HARP_GUESS
from training.harp_tunes import GENERATORS, make_example

Array = NDArray[np.float32]
Weights = dict[str, Array]
TUNINGS = HARP_GUESS.minor_tunings
STANDARD = tuple(Harp.of(f"{low}{key}") for low in ("", "low ") for key in STANDARD_KEYS)
TUNED = tuple(Harp.of(key, tuning) for tuning in TUNINGS for key in STANDARD_KEYS)
HARPS = (*STANDARD, *TUNED)
NAMES = [harp.name for harp in HARPS]
TUNED_ODDS = 0.15
"""Fraction of tunes on minor harps: more than are played, so that they are learnt. The guesser
corrects for it."""
FREQUENCY = np.log(
    [
        (1.0 - HARP_GUESS.tuned_frequency) / (1.0 - TUNED_ODDS)
        if harp in STANDARD
        else HARP_GUESS.tuned_frequency / TUNED_ODDS
        for harp in HARPS
    ]
)
"""Log frequency of each harp in use relative to the tunes of the training."""
TONIC = np.array([[(harp.key.tonic + 7 * q) % 12 for q in range(12)] for harp in HARPS])
"""Pitch class of the tonic by harp and position from 0."""
BATCH = 64
RATE = 4e-3
"""Rate of learning at the start."""


@dataclass
class Material:
    """Tunes as features, with what is true of them; the first axis is the tune.

    Attributes:
        harps, tonics: as in :class:`trainer.transcript.harp_evidence.Evidence`.
        harp, position: index of the true harp, and true position from 0.
        generator: index of the generator.
        notes: number of notes.
    """

    harps: NDArray[np.float16]
    tonics: NDArray[np.float16]
    harp: NDArray[np.intp]
    position: NDArray[np.intp]
    generator: NDArray[np.intp]
    notes: NDArray[np.intp]

    def subset(self, chosen: NDArray[np.bool_]) -> Material:
        """Return some of the tunes."""
        return Material(*(getattr(self, field.name)[chosen] for field in fields(self)))


def _features(job: tuple[str, int]) -> tuple[Array, Array, int, int, int, int]:
    name, number = job
    draw = np.random.default_rng(number)
    tuned = draw.random() < TUNED_ODDS
    example = make_example(name, number, str(draw.choice(TUNINGS)) if tuned else "richter")
    evidence = gather_evidence(example.events, HARPS)
    return (
        evidence.harps.astype(np.float16),
        evidence.tonics.astype(np.float16),
        NAMES.index(Harp.of(example.key, example.tuning).name),
        example.position - 1,
        list(GENERATORS).index(name),
        len(example.events),
    )


def make_material(tunes: int, seed: int) -> Material:
    """Return tunes of every generator."""
    jobs = [(name, seed * 1_000_000 + n) for name in GENERATORS for n in range(tunes)]
    with ProcessPoolExecutor() as pool:
        columns = list(zip(*pool.map(_features, jobs, chunksize=50), strict=True))
    return Material(*(np.array(column) for column in columns))


def new_weights(hidden: int, sizes: tuple[int, int], draw: np.random.Generator) -> Weights:
    """Return random weights."""
    shapes = {"harp": (sizes[0], hidden), "tonic": (sizes[1], hidden), "position": (12, hidden)}
    weights = {name: draw.normal(0.0, 0.15, shape) for name, shape in shapes.items()}
    weights["out"] = draw.normal(0.0, 0.15, hidden)
    weights |= {name + "_out": np.zeros(shape[0]) for name, shape in shapes.items()}
    return {name: value.astype(np.float32) for name, value in weights.items()}


def scores(weights: Weights, harps: Array, tonics: Array) -> tuple[Array, Array]:
    """Return scores and hidden values of tunes, shapes (n, harps, 12) and (..., hidden)."""
    tonic = TONIC[: harps.shape[1]]
    by_harp, by_tonic = harps @ weights["harp"], tonics @ weights["tonic"]
    hidden = by_harp[:, :, None] + (by_tonic[:, tonic] + weights["position"])
    np.maximum(hidden, 0.0, out=hidden)
    linear = (harps @ weights["harp_out"])[:, :, None] + (tonics @ weights["tonic_out"])[:, tonic]
    return hidden @ weights["out"] + linear + weights["position_out"], hidden


def gradients(
    weights: Weights,
    harps: Array,
    tonics: Array,
    harp: NDArray[np.intp],
    position: NDArray[np.intp],
) -> Weights:
    """Return the gradients of the mean loss of tunes."""
    logits, hidden = scores(weights, harps, tonics)
    count, rows = len(harps), np.arange(len(harps))
    odds = np.exp(logits - logits.max(axis=(1, 2), keepdims=True))
    odds /= odds.sum(axis=(1, 2), keepdims=True)
    odds[rows, harp, position] -= 1.0
    odds /= count
    back = (hidden > 0.0) * odds[..., None]
    by_harp = back.sum(axis=2) * weights["out"]
    at_tonic = np.zeros((count, 12, back.shape[-1]), np.float32)
    tonic_odds = np.zeros((count, 12), np.float32)
    for k in range(harps.shape[1]):
        at_tonic[:, TONIC[k]] += back[:, k]
        tonic_odds[:, TONIC[k]] += odds[:, k]
    both = ((0, 1), (0, 1))
    return {
        "harp": np.tensordot(harps, by_harp, both),
        "tonic": np.tensordot(tonics, at_tonic * weights["out"], both),
        "position": back.sum(axis=(0, 1)) * weights["out"],
        "out": odds.reshape(-1) @ hidden.reshape(-1, hidden.shape[-1]),
        "harp_out": np.tensordot(harps, odds.sum(axis=2), both),
        "tonic_out": np.tensordot(tonics, tonic_odds, both),
        "position_out": odds.sum(axis=(0, 1)),
    }


def fit(material: Material, hidden: int, decay: float, epochs: int, seed: int) -> Weights:
    """Fit weights."""
    draw = np.random.default_rng(seed)
    weights = new_weights(hidden, (material.harps.shape[-1], material.tonics.shape[-1]), draw)
    first = {name: np.zeros_like(value) for name, value in weights.items()}
    second = {name: np.zeros_like(value) for name, value in weights.items()}
    steps = epochs * (len(material.harp) // BATCH)
    step = 0
    for _ in range(epochs):
        order = draw.permutation(len(material.harp))
        for low in range(0, len(order) - BATCH + 1, BATCH):
            rows = order[low : low + BATCH]
            slopes = gradients(
                weights,
                material.harps[rows].astype(np.float32),
                material.tonics[rows].astype(np.float32),
                material.harp[rows],
                material.position[rows],
            )
            step += 1
            rate = 0.5 * RATE * (1.0 + np.cos(np.pi * step / steps))
            for name, slope in slopes.items():
                first[name] += 0.1 * (slope - first[name])
                second[name] += 0.01 * (slope**2 - second[name])
                mean = first[name] / (1.0 - 0.9**step)
                spread = np.sqrt(second[name] / (1.0 - 0.99**step)) + 1e-8
                weights[name] -= rate * (mean / spread + decay * weights[name])
    return weights


def rank(weights: Weights, material: Material) -> Array:
    """Return scores of all tunes."""
    parts = []
    for low in range(0, len(material.harp), 128):
        rows = slice(low, low + 128)
        harps, tonics = material.harps[rows], material.tonics[rows]
        parts.append(scores(weights, harps.astype(np.float32), tonics.astype(np.float32))[0])
    return np.concatenate(parts)


def harp_odds(logits: Array, notes: NDArray[np.intp], calibration: Array) -> Array:
    """Return the probability of each harp."""
    temperature = np.exp(calibration[0] + calibration[1] * np.log(notes / 30.0))
    scaled = logits / temperature[:, None, None] + FREQUENCY[: logits.shape[1], None]
    scaled = np.exp(scaled - scaled.max(axis=(1, 2), keepdims=True))
    return scaled.sum(axis=2) / scaled.sum(axis=(1, 2))[:, None]


def calibrate(logits: Array, material: Material) -> Array:
    """Return log temperature at 30 notes, and its slope by the log of their number."""
    rows = np.arange(len(logits))
    weight = np.exp(FREQUENCY[material.harp])

    def loss(calibration: Array) -> float:
        odds = harp_odds(logits, material.notes, calibration)
        return -float(np.average(np.log(odds[rows, material.harp] + 1e-9), weights=weight))

    corners = [[0.0, 0.0], [0.3, 0.0], [0.0, 0.3]]
    options = {"initial_simplex": corners, "xatol": 0.01, "fatol": 1e-4}
    return np.array(minimize(loss, np.zeros(2), method="Nelder-Mead", options=options).x)


def calibration_error(first: Array, right: Array) -> float:
    """Return the expected calibration error in ten bins (Guo et al. 2017)."""
    bins = np.minimum((first * 10).astype(int), 9)
    gaps = (abs(first[bins == b].sum() - right[bins == b].sum()) for b in range(10))
    return float(sum(gaps) / len(first))


def describe(name: str, logits: Array, material: Material, calibration: Array) -> str:
    """Return the figures of some tunes."""
    odds = harp_odds(logits, material.notes, calibration)
    hit = np.argsort(-odds, axis=1) == material.harp[:, None]
    first = odds.max(axis=1)
    loss = -np.log(odds[np.arange(len(odds)), material.harp] + 1e-9).mean()
    return (
        f"{name:12} {len(odds):6} first {hit[:, 0].mean():.3f} three {hit[:, :3].any(1).mean():.3f}"
        f" probability {first.mean():.3f} ECE {calibration_error(first, hit[:, 0]):.3f}"
        f" loss {loss:.3f}"
    )


_material: Material


def _left_out(job: tuple[int, int, float], epochs: int, seed: int) -> Array:
    left, hidden, decay = job
    out = _material.generator == left
    return rank(fit(_material.subset(~out), hidden, decay, epochs, seed), _material.subset(out))


def main() -> None:
    """Fit and store."""
    global _material
    parser = argparse.ArgumentParser(prog="python -m training.rank_harps")
    parser.add_argument("out")
    parser.add_argument("--tunes", type=int, default=4000, help="of each generator")
    parser.add_argument("--hidden", type=int, default=16)
    parser.add_argument("--decay", type=float, default=0.03)
    parser.add_argument("--epochs", type=int, default=6)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--leave-out", type=int, nargs="*", metavar="HIDDEN", default=[])
    parser.add_argument("--decays", type=float, nargs="*", default=[0.03])
    options = parser.parse_args()
    begun = time.monotonic()
    _material = material = make_material(options.tunes, options.seed)
    print(f"{len(material.harp)} tunes after {time.monotonic() - begun:.0f} s", flush=True)
    order = range(len(GENERATORS))
    sizes = list(itertools.product(options.leave_out, options.decays))
    jobs = [(left, hidden, decay) for hidden, decay in sizes for left in order]
    calibration = np.zeros(2)
    with ProcessPoolExecutor() as pool:
        whole = pool.submit(
            fit, material, options.hidden, options.decay, options.epochs, options.seed
        )
        work = partial(_left_out, epochs=options.epochs, seed=options.seed)
        ranked = list(pool.map(work, jobs))
        weights = whole.result()
    for i, (hidden, decay) in enumerate(sizes):
        logits = np.concatenate(ranked[i * len(order) : (i + 1) * len(order)])
        fitted = calibrate(logits, material)
        if (hidden, decay) == (options.hidden, options.decay):
            calibration = fitted
        print(f"hidden {hidden} decay {decay}: calibration {fitted.round(3)}")
        standard = material.harp < len(STANDARD)
        for g, name in enumerate(GENERATORS):
            rows = (material.generator == g) & standard
            print(describe(name, logits[rows], material.subset(rows), fitted))
        for name, rows in (("all", standard), ("tuned", ~standard)):
            print(describe(name, logits[rows], material.subset(rows), fitted), flush=True)
    np.savez(options.out, **weights, calibration=calibration, tuned=TUNED_ODDS)
    print(f"done after {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
