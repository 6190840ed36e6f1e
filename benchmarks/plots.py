"""The scores as pictures."""

from __future__ import annotations

from pathlib import Path

import matplotlib as mpl
import numpy as np
from matplotlib import pyplot as plt

from benchmarks.corpus import Player, bend, hard
from benchmarks.fonts import Floats
from benchmarks.materials import NOISE_DB
from benchmarks.measure import hear, track
from benchmarks.peers import PEERS
from benchmarks.rows import BENDS, PAIRS
from benchmarks.scores import Scores
from benchmarks.table import EAR, best_stamp, errors_of

mpl.use("Agg")
COLOURS = ("#000000", "#E69F00", "#56B4E9", "#009E73", "#CC79A7", "#D55E00")
"""Okabe and Ito's palette, told apart by the colour-blind too."""
STYLES = ("-", "--", "-.", ":", (0, (5, 1)), (0, (1, 1)))


def draw_all(scores: Scores, folder: Path) -> list[Path]:
    """All pictures, as PNG; the files made."""
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


def _noise(scores: Scores) -> plt.Figure:
    """Median error of frozen reeds by signal to noise, beside the bound."""
    figure, axes = plt.subplots(figsize=(7, 5))
    db = np.array(NOISE_DB, dtype=float)
    for who, colour, style in _everyone():
        medians = [np.median(errors_of(scores, who, f"frozen {x} dB")) for x in NOISE_DB]
        axes.semilogy(db, medians, color=colour, linestyle=style, marker="o", label=who)
    bounds = []
    for x in NOISE_DB:
        some = scores.of(f"frozen {x} dB")
        bounds.append(np.median(some.values("cents") / some.values("bound")))
    axes.semilogy(db, bounds, color="0.5", linewidth=3, label="Cramér–Rao, this ear's windows")
    axes.set(
        xlabel="signal to noise, dB",
        ylabel="median error, cents",
        title="Steady notes in white noise (frozen recorded reeds)\n"
        "line: 0.6745 standard deviations of the bound",
    )
    axes.grid(True, which="both", alpha=0.3)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))
    return figure


def _errors(scores: Scores) -> plt.Figure:
    """How large errors are, as shares of the readings."""
    figure, all_axes = plt.subplots(1, 2, figsize=(12, 5), sharey=True)
    for axes, title, materials in zip(
        all_axes, ("steady notes", "bends"), (("steady",), BENDS), strict=True
    ):
        for who, colour, style in _everyone():
            errors = np.sort(errors_of(scores, who, *materials))
            shares = np.arange(1, len(errors) + 1) / len(errors)
            seen = np.isfinite(errors)
            axes.semilogx(
                np.maximum(errors[seen], 1e-4),
                shares[seen],
                color=colour,
                linestyle=style,
                label=who,
            )
        axes.axvline(5.0, color="0.7")
        axes.set(xlabel="error, cents", title=title, xlim=(1e-3, 5e3))
        axes.grid(True, alpha=0.3)
    all_axes[0].set_ylabel("share of readings under it")
    all_axes[0].legend()
    return figure


def _onsets(scores: Scores) -> plt.Figure:
    """How soon after a hard onset the pitch and the holes are right."""
    figure, (left, right) = plt.subplots(1, 2, figsize=(12, 5))
    for who, colour, style in _everyone():
        if who != EAR and not PEERS[who].buffer:
            continue
        three = scores.of("hard").values("three" if who == EAR else f"{who} three")
        _steps(left, 1000.0 * three, color=colour, linestyle=style, label=who)
    left.set(xlabel="to three readings within 10 cents, ms", ylabel="share of notes", xlim=(0, 80))
    for name, colour, style in zip(("hard", *PAIRS), COLOURS, STYLES, strict=False):
        label = "one hole" if name == "hard" else f"neighbour at {name.split()[1]} dB"
        settle = 1000.0 * scores.of(name).values("settle")
        _steps(right, settle, color=colour, linestyle=style, label=label)
    right.axvline(60.0, color="0.7")
    right.set(xlabel="until the holes are right and stay so, ms", xlim=(0, 150))
    for axes in (left, right):
        axes.grid(True, alpha=0.3)
        axes.legend()
    return figure


def _steps(axes: plt.Axes, ms: Floats, **style: object) -> None:
    ms = np.sort(ms)
    axes.step(ms, np.arange(1, len(ms) + 1) / max(1, len(ms)), where="post", **style)


def _bend(scores: Scores) -> plt.Figure:
    """A whole-step bend as everyone follows it."""
    player = Player("harmonica 2", "C")
    sound = hard(player.reed("-3"), 0.75, bend(200.0, 0.12))
    one = player.item("bend", ["-3"], [sound])
    figure, (above, below) = plt.subplots(2, 1, figsize=(9, 8), sharex=True)
    times = np.linspace(one.begins, one.until, 500)
    base = one.hz(np.array([one.begins]))[0]
    above.plot(
        times, 1200.0 * np.log2(one.hz(times) / base), color="0.7", linewidth=5, label="true"
    )
    for who, colour, style in _everyone():
        if who == EAR:
            found = track(hear(one))
        else:
            peer = PEERS[who]
            found = peer.track(one)
            if peer.buffer:
                found = peer.stamped(found, best_stamp(scores, who), one.rate)
        on = (found.times > one.begins) & (found.times < one.until)
        at, hz = found.times[on], found.hz[on]
        above.plot(at, 1200.0 * np.log2(hz / base), color=colour, linestyle=style, label=who)
        below.plot(at, 1200.0 * np.log2(hz / one.hz(at)), color=colour, linestyle=style)
    above.set(ylim=(-230, 30), ylabel="cents", title=f"200 cents in 120 ms: {one.name}")
    below.set(ylim=(-20, 20), ylabel="error, cents", xlabel="seconds")
    for axes in (above, below):
        axes.grid(True, alpha=0.3)
    above.legend(loc="lower left")
    return figure
