"""Tables of the scores in Markdown."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from benchmarks.conditions import CONDITIONS, HARPS
from benchmarks.materials import IN_CONDITIONS
from benchmarks.peers import PEERS, STAMPS
from benchmarks.rows import (
    BENDS,
    LOW_HZ,
    ROWS,
    Data,
    Figure,
    gross,
    median,
    onset_s,
    p95_ms,
    share,
    values_of,
    within,
)
from benchmarks.scores import Scores

GROUPS = {False: "tuned on", True: "held out"}
"""Columns: whether a voice was held out from tuning."""
EAR = "this ear"
MISSES = 6
"""Maximum number of items named in each row of misses."""


def goals(scores: Scores) -> Iterator[str]:
    """Yield goals and figures by group of voices; an x marks a missed goal."""
    groups = {aside: scores.group(aside=aside) for aside in GROUPS}
    yield "| | goal | " + " | ".join(f"{name} | n" for name in GROUPS.values()) + " |"
    yield "| --- | --- |" + " --- | --- |" * len(GROUPS)
    for row in ROWS:
        if not any(len(row.data(group)) for group in groups.values()):
            continue
        cells = []
        for group in groups.values():
            value = row.value(group)
            if value is None:
                cells += ["–", "0"]
            else:
                missed = "" if row.reaches(value) else " x"
                cells += [f"{value:.{row.digits}f}{missed}", str(len(row.data(group)))]
        sign = "≥" if row.more else "≤"
        yield f"| {row.name} | {sign} {row.goal:g} | " + " | ".join(cells) + " |"


def misses(scores: Scores) -> Iterator[str]:
    """Yield the items that miss a goal, the worst first."""
    for row in ROWS:
        bad = row.misses(scores)
        if not bad:
            continue
        yield f"- {row.name}: {len(bad)} items miss {row.goal:g} individually"
        for value, score in bad[:MISSES]:
            off = f", reeds {score.job.off:g} cents off" if score.job.off else ""
            yield f"  - {value:.{row.digits}f}  {score.name}{off}"


def best_stamp(scores: Scores, peer: str) -> float:
    """Return the best time stamp of a peer, as a fraction of its buffer before its end."""
    if not PEERS[peer].buffer:
        return 0.0
    bends = scores.of(*BENDS)
    return max(STAMPS, key=lambda at: within(5.0)(bends.values(f"{peer} at {at}")))


def errors_of(scores: Scores, who: str, *materials: str) -> np.ndarray:
    """Return errors of this ear, or of a peer at its best stamp, shape (n,)."""
    group = scores.of(*materials)
    if who == EAR:
        return group.values("cents")
    return group.values(f"{who} at {best_stamp(scores, who)}")


def detectors(scores: Scores) -> Iterator[str]:
    """Yield this ear and its peers on the same items of all voices."""
    shares = ("steady", "bend 100", "bend 200", "steady 20 dB", "bend 100 20 dB", "bend 200 20 dB")
    yield (
        "| detector | stamped before the end | "
        + " | ".join(f"{name}" for name in shares)
        + " | median, steady | median, bends | gross | onset p95 ms | readings |"
    )
    yield "| --- |" + " --- |" * (len(shares) + 6)
    everyone = [peer.name for peer in PEERS.values() if not peer.slow]
    slow = [peer.name for peer in PEERS.values() if peer.slow]
    for group, names in ((scores.heard_by(*everyone), everyone), (scores.heard_by(*slow), slow)):
        for who in (EAR, *names):
            yield _detector(group, who, shares, few=names is slow)


def _detector(scores: Scores, who: str, shares: tuple[str, ...], few: bool) -> str:
    def cell(errors: np.ndarray, digits: int, figure: Figure) -> str:
        return f"{figure(errors):.{digits}f}" if len(errors) else "–"

    live = who == EAR or PEERS[who].buffer
    stamp = "its own" if who == EAR or not live else _buffer_ms(scores, who)
    three = scores.of("hard").values("three" if who == EAR else f"{who} three")
    f0 = scores.of("hard").values("f0")
    onset = f"{p95_ms(three[f0 >= LOW_HZ]):.0f}" if live and len(three) else "–"
    cells = [cell(errors_of(scores, who, name), 4, within(5.0)) for name in shares]
    steady, bends = errors_of(scores, who, "steady"), errors_of(scores, who, *BENDS)
    cells += [cell(steady, 3, median), cell(bends, 3, median)]
    every = errors_of(scores, who, *shares)
    cells += [cell(every, 4, gross), onset, str(len(every))]
    return f"| {who}{' (same few notes)' if few and who == EAR else ''} | {stamp} | " + (
        " | ".join(cells) + " |"
    )


def _buffer_ms(scores: Scores, peer: str) -> str:
    return f"{1000.0 * best_stamp(scores, peer) * PEERS[peer].buffer / 48_000:.0f} ms"


def conditions(scores: Scores) -> Iterator[str]:
    """Yield the figures of each condition: tuned on / held out."""
    yield (
        "| condition | steady within 5 cents | median error | exact holes, clean "
        "| exact holes, pair -12 dB | onset p95 ms (260 Hz up) |"
    )
    yield "| --- | --- | --- | --- | --- | --- |"
    for condition in (*CONDITIONS, *HARPS):
        steady, hard, pair = (f"{what} | {condition}" for what in IN_CONDITIONS)
        columns: list[tuple[Data, Figure, int]] = [
            (values_of("cents", steady), within(5.0), 4),
            (values_of("cents", steady), median, 3),
            (values_of("right", hard), share, 4),
            (values_of("right", pair), share, 4),
            (onset_s(hard, low=False), p95_ms, 1),
        ]
        cells = []
        for data, figure, digits in columns:
            both = [data(scores.group(aside=aside)) for aside in GROUPS]
            cells.append(" / ".join(f"{figure(d):.{digits}f}" if len(d) else "–" for d in both))
        yield f"| {condition} | " + " | ".join(cells) + " |"
