"""Plots of the scores."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib import pyplot as plt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from benchmarks.corpus import Player, bend, hard
from benchmarks.materials import NOISE_DB
from benchmarks.measure import hear, track
from benchmarks.peers import PEERS
from benchmarks.rows import BENDS, PAIRS
from benchmarks.scores import Scores
from benchmarks.table import EAR, best_stamp, errors_of
from trainer.core.types import Floats

mpl.use("Agg")
COLOURS = ("#000000", "#E69F00", "#56B4E9", "#009E73", "#CC79A7", "#D55E00")
"""Okabe and Ito's palette, distinguishable by colour-blind readers."""
STYLES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (1, 1)))


def draw_all(scores: Scores, folder: Path) -> list[Path]:
    """Draw all plots as PNG and return the files."""
    folder.mkdir(exist_ok=True)
    pictures = {"noise": _noise, "errors": _errors, "onsets": _onsets, "bend": _bend}
    files = []
    for name, draw in pictures.items():
        figure = draw(scores)
        files.append(folder / f"{name}.png")
        figure.savefig(files[-1], dpi=120, bbox_inches="tight")
        plt.close(figure)
    return files


def _everyone() -> list[tuple[str, str, object]]:
    quick = [peer.name for peer in PEERS.values() if not peer.slow]
    return list(zip([EAR, *quick], COLOURS, STYLES, strict=False))


def _noise(scores: Scores) -> Figure:
    """Plot the median error of resynthesized reeds by SNR, with the bound."""
    figure, axes = plt.subplots(figsize=(7, 5))
    db = np.array(NOISE_DB, dtype=float)
    for detector, colour, style in _everyone():
        medians = [np.median(errors_of(scores, detector, f"frozen {x} dB")) for x in NOISE_DB]
        axes.semilogy(db, medians, color=colour, linestyle=style, marker="o", label=detector)
    bounds = []
    for x in NOISE_DB:
        selected = scores.of(f"frozen {x} dB")
        bounds.append(np.median(selected.values("cents") / selected.values("bound")))
    axes.semilogy(db, bounds, color="0.5", linewidth=3, label="Cramér–Rao, this ear's windows")
    axes.set(
        xlabel="signal to noise, dB",
        ylabel="median error, cents",
        title="Steady notes in white noise (resynthesized recorded reeds)\n"
        "line: 0.6745 standard deviations of the bound",
    )
    axes.grid(True, which="both", alpha=0.3)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return figure


def _errors(scores: Scores) -> Figure:
    """Plot the cumulative distribution of errors."""
    figure, all_axes = plt.subplots(1, 2, figsize=(12, 5), sharey=True)
    for axes, title, materials in zip(
        all_axes, ("steady notes", "bends"), (("steady",), BENDS), strict=True
    ):
        for detector, colour, style in _everyone():
            errors = np.sort(errors_of(scores, detector, *materials))
            shares = np.arange(1, len(errors) + 1) / len(errors)
            seen = np.isfinite(errors)
            axes.semilogx(
                np.maximum(errors[seen], 1e-4),
                shares[seen],
                color=colour,
                linestyle=style,
                label=detector,
            )
        axes.axvline(5.0, color="0.7")
        axes.set(xlabel="error, cents", title=title, xlim=(1e-3, 5e3))
        axes.grid(True, alpha=0.3)
    all_axes[0].set_ylabel("fraction of readings below")
    all_axes[0].legend()
    return figure


def _onsets(scores: Scores) -> Figure:
    """Plot the time from a hard onset to the right pitch and the right holes."""
    figure, (left, right) = plt.subplots(1, 2, figsize=(12, 5))
    for detector, colour, style in _everyone():
        if detector != EAR and not PEERS[detector].buffer:
            continue
        three = scores.of("hard").values("three" if detector == EAR else f"{detector} three")
        _steps(left, 1000.0 * three, color=colour, linestyle=style, label=detector)
    left.set(
        xlabel="to three readings within 10 cents, ms", ylabel="fraction of notes", xlim=(0, 80)
    )
    for name, colour, style in zip(("hard", *PAIRS), COLOURS, STYLES, strict=False):
        label = "one hole" if name == "hard" else f"neighbour at {name.split()[1]} dB"
        settle = 1000.0 * scores.of(name).values("settle")
        _steps(right, settle, color=colour, linestyle=style, label=label)
    right.axvline(60.0, color="0.7")
    right.set(xlabel="until the holes stay right, ms", xlim=(0, 150))
    for axes in (left, right):
        axes.grid(True, alpha=0.3)
        axes.legend()
    return figure


def _steps(axes: Axes, ms: Floats, **style: Any) -> None:
    ms = np.sort(ms)
    axes.step(ms, np.arange(1, len(ms) + 1) / max(1, len(ms)), where="post", **style)


def _bend(scores: Scores) -> Figure:
    """Plot a whole-step bend as all detectors follow it."""
    player = Player("harmonica 2", "C")
    sound = hard(player.reed("-3"), 0.75, bend(200.0, 0.12))
    item = player.item("bend", ["-3"], [sound])
    figure, (above, below) = plt.subplots(2, 1, figsize=(9, 8), sharex=True)
    times = np.linspace(item.begins, item.until, 500)
    base = item.hz(np.array([item.begins]))[0]
    above.plot(
        times, 1200.0 * np.log2(item.hz(times) / base), color="0.7", linewidth=5, label="true"
    )
    for detector, colour, style in _everyone():
        if detector == EAR:
            estimates = track(hear(item))
        else:
            peer = PEERS[detector]
            estimates = peer.track(item)
            if peer.buffer:
                estimates = peer.stamped(estimates, best_stamp(scores, detector), item.rate)
        on = (estimates.times > item.begins) & (estimates.times < item.until)
        at, hz = estimates.times[on], estimates.hz[on]
        above.plot(at, 1200.0 * np.log2(hz / base), color=colour, linestyle=style, label=detector)
        below.plot(at, 1200.0 * np.log2(hz / item.hz(at)), color=colour, linestyle=style)
    above.set(ylim=(-230, 30), ylabel="cents", title=f"200 cents in 120 ms: {item.name}")
    below.set(ylim=(-20, 20), ylabel="error, cents", xlabel="seconds")
    for axes in (above, below):
        axes.grid(True, alpha=0.3)
    above.legend(loc="lower left")
    return figure
