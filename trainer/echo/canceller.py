"""The echo canceller: from samples of the microphone to samples without the reference signal.

What the trainer plays comes back from a loudspeaker through the room. The reference signal is
known to the sample, the echo path is not: `delay.py` estimates its delay, `adaptive_filter.py`
adapts to its impulse response, the predicted echo is subtracted here, and `residual_suppressor.py`
limits what remains in a rest. A prediction is subtracted only while that has lowered the error (two
echo paths: Ochiai, Araseki and Ogihara 1977, IEEE Trans. Comm. 25(6), from memory): without an
echo, samples pass unchanged.

There is no delay: the reference signal is known a block before it is heard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats, Samples
from trainer.echo.adaptive_filter import AdaptiveFilter, FilterUpdate
from trainer.echo.delay import DelayEstimate, estimate_delay
from trainer.echo.residual_suppressor import ResidualSuppressor
from trainer.sound import REFERENCE_LEAD_S


@dataclass(frozen=True, slots=True)
class CancellerParameters:
    """Constants of the canceller. Chosen; `python -m benchmarks.echo` measures the result."""

    block_s: float = 0.043
    """Length of a block in seconds, rounded to a power of two in samples. Longer than a click, so
    that a single click is enough to adapt to; short blocks need more than ten."""
    searched_blocks: int = 4
    """Blocks of the reference signal whose echo is searched for at a time."""
    max_lag_blocks: int = 8
    """Longest delay that is searched, in blocks."""
    head_s: float = 0.004
    """Part of the filter before the estimated delay, in seconds: the strongest peak of an impulse
    response need not be its first."""
    expected_delay_s: float = REFERENCE_LEAD_S - 0.02
    """Delay that is assumed for a steady tone, in seconds, from the drivers' latencies."""
    found_prior: float = 10.0
    """Initial uncertainty of the filter relative to the echo's power, after a delay was estimated:
    in a reverberant room it may be that of one reflection of many. Measured by
    `python -m benchmarks.echo`."""
    expected_prior: float = 3.0
    """The same where the delay is only assumed: a tone fits any filter, so one that may be far off
    diverges. Measured by `python -m benchmarks.echo`."""
    likely_height: float = 40.0
    """Height from which a delay's peak is believed when it is seen twice."""
    sure_height: float = 150.0
    """Height from which a delay's peak is believed at once."""
    agreement_s: float = 0.001
    """Largest difference of delays that count as the same, in seconds."""
    tone_blocks: int = 12
    """Blocks after a tone's start in which its echo shows. Later sound of the tone's pitch is taken
    for the player, who hears the tone in headphones and plays after it."""
    memory: float = 0.85
    """Fraction of the evidence for a prediction's use that is kept from block to block."""


PARAMETERS = CancellerParameters()


class EchoCanceller:
    """Removes the echo of the reference signal from the samples of a microphone."""

    def __init__(self, rate: int) -> None:
        """`rate` in samples per second."""
        self._rate = rate
        self._size = size = 1 << round(math.log2(PARAMETERS.block_s * rate))
        self._kept_blocks = PARAMETERS.searched_blocks + PARAMETERS.max_lag_blocks
        kept = size * (self._kept_blocks + 1)
        self._reference = np.zeros(kept)
        self._past, self._first = np.zeros(2 * kept), 0
        self._heard = self._past[:kept]
        """A window on `_past`, which is moved along it block by block."""
        self._filled = self._blocks = 0
        self._silent_blocks = self._kept_blocks + 1
        self._sounding_blocks = 0
        self._filter = AdaptiveFilter(rate, size)
        self._suppressor = ResidualSuppressor(rate, size)
        self._last_delay: tuple[int, int] | None = None
        """Block and lag of the delay that was estimated last."""
        self._gained = self._at_stake = self._strongest = 0.0
        self._found_delay = False
        self._useful = False

    def cancel(self, samples: Samples, reference: Samples | None) -> Floats:
        """Return samples without the echo.

        Args:
            samples: from the microphone, float32, shape (n,).
            reference: the reference signal, as in `Block.reference`; None for silence.

        Returns:
            Shape (n,); `samples` themselves where nothing is subtracted.
        """
        pieces: list[Floats] = []
        at = 0
        while at < len(samples):
            count = min(self._size - self._filled, len(samples) - at)
            piece = slice(at, at + count)
            part = None if reference is None else reference[piece]
            pieces.append(self._cancel_within_block(samples[piece], part))
            at += count
        return np.concatenate(pieces) if len(pieces) > 1 else pieces[0] if pieces else samples

    def _cancel_within_block(self, samples: Samples, reference: Samples | None) -> Floats:
        """Return samples of a single block of the filter without the echo."""
        first, last = self._filled, self._filled + len(samples)
        start = len(self._reference) - self._size
        kept = slice(start + first, start + last)
        self._heard[kept] = samples
        self._reference[kept] = 0.0 if reference is None else reference
        cleaned: Floats = samples
        echo = self._filter.echo
        if self._useful and echo is not None:
            cleaned = self._suppressor.suppress(samples - echo[first:last], first)
        self._filled = last
        if last == self._size:
            self._filled = 0
            self._next_block()
        return cleaned

    def _next_block(self) -> None:
        """Adapt to a complete block, and predict the next."""
        size, filter_ = self._size, self._filter
        self._blocks += 1
        sounds = self._reference[-size:].any()
        self._sounding_blocks = self._sounding_blocks + 1 if sounds else 0
        self._silent_blocks = 0 if sounds else self._silent_blocks + 1
        if self._silent_blocks <= self._kept_blocks:
            heard = self._heard[-size:]
            error = heard - filter_.echo if filter_.echo is not None else heard
            self._suppressor.observe(error, active=self._useful and filter_.echo is not None)
            update = filter_.adapt(heard)
            if update is not None:
                self._judge(update)
            if self._sounding_blocks == PARAMETERS.searched_blocks and not filter_.known:
                self._assume_delay_of_tone()
            if not self._useful and self._blocks % (PARAMETERS.searched_blocks // 2) == 0:
                self._search()
            if filter_.known:
                filter_.predict(self._reference)
            self._suppressor.set_bound(filter_.echo, filter_.uncertainty())
        else:
            filter_.echo = None
        if filter_.known:
            filter_.advance()
        self._slide()

    def _slide(self) -> None:
        """Make room for the next block after those that are kept."""
        size, kept, past = self._size, len(self._reference), self._past
        if self._silent_blocks <= self._kept_blocks:  # else it holds nothing but silence
            self._reference[:-size] = self._reference[size:]
        self._first += size
        if self._first + kept > len(past):
            past[: kept - size] = past[self._first : self._first + kept - size]
            self._first = 0
        self._heard = past[self._first : self._first + kept]

    def _assume_delay_of_tone(self) -> None:
        """Where a sound too narrow to estimate a delay has begun, assume the drivers' delay."""
        reference = self._reference[-PARAMETERS.searched_blocks * self._size :]
        windowed = reference * np.hanning(len(reference))
        if estimate_delay(windowed, reference, self._rate, self._size) is None:
            self._restart(PARAMETERS.expected_delay_s * self._rate, 1.0, PARAMETERS.expected_prior)

    def _search(self) -> None:
        """Search for the echo: it is unknown, or its prediction is of no use."""
        size = self._size
        reference = self._reference[size : (PARAMETERS.searched_blocks + 1) * size]
        windowed = reference * np.hanning(len(reference))
        if float(reference @ windowed) <= 0.25 * float(reference @ reference):
            return  # silence, or most of it at the edge, where other searches have it in the middle
        max_lag = PARAMETERS.max_lag_blocks * size
        delay = estimate_delay(windowed, self._heard[size:], self._rate, max_lag)
        if delay is None or not self._is_believed(delay):
            return
        if not self._filter.covers(delay.lag):
            start = max(float(size), delay.lag - PARAMETERS.head_s * self._rate)
            self._restart(start, delay.gain, PARAMETERS.found_prior)
            self._useful = self._useful or delay.height > PARAMETERS.sure_height
            self._found_delay = True

    def _is_believed(self, delay: DelayEstimate) -> bool:
        """Whether a delay is certain, or was seen before in other sound."""
        if delay.height < PARAMETERS.likely_height:
            return False
        last, self._last_delay = self._last_delay, (self._blocks, delay.lag)
        seen_twice = (
            last is not None
            and self._blocks - last[0] >= PARAMETERS.searched_blocks
            and abs(delay.lag - last[1]) < PARAMETERS.agreement_s * self._rate
        )
        return seen_twice or delay.height > PARAMETERS.sure_height

    def _restart(self, start: float, gain: float, prior: float) -> None:
        """Adapt to everything that is kept, as if the delay had always been known."""
        size, filter_ = self._size, self._filter
        self._gained = self._at_stake = self._strongest = 0.0
        filter_.restart(start, gain, prior)
        for back in range((len(self._reference) - round(start)) // size - 2, 0, -1):
            end = len(self._heard) - (back - 1) * size
            filter_.predict(self._reference, back)
            update = filter_.adapt(self._heard[end - size : end])
            if update is not None:
                self._judge(update)

    def _judge(self, update: FilterUpdate) -> None:
        """Judge whether the prediction is of use.

        Criterion: the power that it would have removed, each frequency weighted by the inverse of
        its noise.
        """
        predicted, error = update.predicted, update.error
        before = np.abs(predicted + error) ** 2
        power = np.abs(predicted) ** 2
        self._strongest = max(float(power.max()), 0.8 * self._strongest)
        noise = np.maximum(update.noise, before) + 0.1 * self._strongest + 1e-12
        gained = float(np.sum((before - np.abs(error) ** 2) / noise))
        self._gained = PARAMETERS.memory * self._gained + gained
        self._at_stake = PARAMETERS.memory * self._at_stake + float(np.sum(power / noise))
        chance = 3.0 * math.sqrt(self._at_stake)
        if self._useful:
            self._useful = self._gained > -chance
        elif self._found_delay or self._sounding_blocks <= PARAMETERS.tone_blocks:
            self._useful = self._gained > max(0.5 * self._at_stake, chance)
