"""The network that hears a harp in a mix, in plain numpy.

A convolutional network over harmonically stacked spectra (:mod:`trainer.transcript.pitch_spectra`)
that was trained on generated mixtures (training/README.md). Its weights lie beside this module.
For each frame it gives the activation of each pitch as played by a harp, the onset of each half
step, and whether a harp sounds at all. Arrays are (frames, half steps, channels).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
import soxr
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.transcript.pitch_spectra import (
    BINS_PER_SEMITONE,
    HOP,
    PITCHES,
    RATE,
    SEMITONES,
    Spectra,
    chunks,
    level_spectra,
    normalize,
    stack_harmonics,
)

CHUNK = 768
"""Frames that are computed at a time: what fits the processor's cache."""
MARGIN = 96
"""Frames on either side of a chunk that its result depends on: the sum of the blocks' spans."""
FRAME_S = HOP / RATE
"""Seconds from one frame to the next."""


@dataclass(frozen=True, slots=True)
class Activations:
    """What the network hears, all 0 to 1.

    Attributes:
        pitch: whether a harp sounds each pitch, shape (frames, `PITCHES`); three per half step.
        onset: whether a harp's note begins, shape (frames, `SEMITONES`).
        presence: whether a harp sounds at all, shape (frames,).
    """

    pitch: Spectra
    onset: Spectra
    presence: Spectra


def hear_harp(samples: Floats, rate: float) -> Activations:
    """Return what the network hears in a sound.

    Args:
        samples: mono, shape (n,).
        rate: samples per second.
    """
    if rate != RATE:
        samples = soxr.resample(samples.astype(np.float32), rate, RATE)
    spectra = normalize(level_spectra(samples))
    network = load_network()
    frames = spectra.shape[1]
    pitch = np.empty((frames, PITCHES), np.float32)
    onset = np.empty((frames, SEMITONES), np.float32)
    presence = np.empty(frames, np.float32)
    for low, high, first, last in chunks(frames, CHUNK, MARGIN):
        head, present = network.run(stack_harmonics(spectra[:, low:high]))
        kept = slice(first - low, last - low)
        pitch[first:last] = head[kept, :, :BINS_PER_SEMITONE].reshape(last - first, PITCHES)
        onset[first:last] = head[kept, :, BINS_PER_SEMITONE]
        presence[first:last] = present[kept]
    return Activations(_sigmoid(pitch), _sigmoid(onset), _sigmoid(presence))


@cache
def load_network() -> HarpNetwork:
    """Return the network with the weights of the package."""
    with (
        (files("trainer.transcript") / "harp_network.npz").open("rb") as file,
        np.load(file) as data,
    ):
        return HarpNetwork({name: data[name] for name in data.files})


class HarpNetwork:
    """The network with its weights."""

    def __init__(self, arrays: Mapping[str, NDArray[np.generic]]) -> None:
        """Prepare.

        Args:
            arrays: as `training.network.export` returns them.
        """
        self._layout = tuple(str(kind) for kind in arrays["layout"])
        self._weights = {
            name: np.ascontiguousarray(array, np.float32)
            for name, array in arrays.items()
            if name != "layout"
        }

    def run(self, stack: Spectra) -> tuple[Spectra, Spectra]:
        """Return logits of each half step, shape (frames, half steps, 4), and of presence."""
        x = _rectified(self._stem(stack))
        for i, kind in enumerate(self._layout):
            name = f"block{i}"
            if kind == "octaves":
                y = self._convolve(x, f"{name}.wide", spread=12)
            elif kind == "frame":
                y = _rectified(self._convolve(_summary(x), f"{name}.first", span=4))
                y = self._convolve(y, f"{name}.second", span=8)
            else:
                y = _rectified(self._convolve(x, f"{name}.wide", span=int(kind[1:])))
                y = self._convolve(y, f"{name}.point")
            x = _rectified(np.add(x, y))
        head = self._convolve(x, "head")
        return head, self._convolve(_summary(x), "presence")[:, 0, 0]

    def _stem(self, stack: Spectra) -> Spectra:
        """The first filter, which joins the bins of each half step."""
        width = self._weights["stem.weight"].shape[1]
        padded = np.pad(stack, ((0, 0), (1, 1), (0, 0)))
        places = padded[:, np.arange(SEMITONES)[:, None] * BINS_PER_SEMITONE + np.arange(width)]
        return self._over_time(places.reshape(*places.shape[:2], -1), "stem", 1)

    def _convolve(self, x: Spectra, name: str, span: int = 1, spread: int = 1) -> Spectra:
        """Convolve over frames and half steps; taps lie `span` frames and `spread` steps apart."""
        width = self._weights[f"{name}.weight"].shape[1]
        if width > 1:
            reach = spread * (width // 2)
            padded = np.pad(x, ((0, 0), (reach, reach), (0, 0)))
            size = x.shape[1]
            x = np.concatenate(
                [padded[:, tap * spread : tap * spread + size] for tap in range(width)], axis=2
            )
        return self._over_time(x, name, span)

    def _over_time(self, x: Spectra, name: str, span: int) -> Spectra:
        """Sum the products with the taps in time; the taps over half steps are channels here."""
        weight, bias = self._weights[f"{name}.weight"], self._weights[f"{name}.bias"]
        taps, sizes = weight.shape[0], weight.shape[3]
        matrices = weight.reshape(taps, -1, sizes)
        frames = x.shape[0]
        out = np.empty((frames, x.shape[1], sizes), np.float32)
        out[:] = bias
        for tap in range(taps):
            shift = (tap - taps // 2) * span
            first, last = max(0, -shift), min(frames, frames - shift)
            if first < last:
                out[first:last] += x[first + shift : last + shift] @ matrices[tap]
        return out


def _summary(x: Spectra) -> Spectra:
    """Mean and maximum over half steps, shape (frames, 1, 2 x channels)."""
    return np.concatenate([x.mean(axis=1), x.max(axis=1)], axis=1)[:, None, :]


def _rectified(x: Spectra) -> Spectra:
    return np.maximum(x, 0.0, out=x)


def _sigmoid(x: Spectra) -> Spectra:
    return np.reciprocal(np.float32(1.0) + np.exp(-np.clip(x, -30.0, 30.0))).astype(np.float32)
