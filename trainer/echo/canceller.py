"""From samples as heard to samples without the trainer's reference sound.

What the trainer plays comes back from a loudspeaker through the room. It is known to the sample,
but not how it comes back: `delay.py` finds when, `filter_.py` learns how, what it predicts is taken
off here, and `residue.py` hides what is left in a rest. What is predicted is used only while that
has been of use (two paths: Ochiai, Araseki and Ogihara 1977, IEEE Trans. Comm. 25(6), from memory):
without an echo, samples pass as they came.

Nothing is delayed: what was played is known a block before it is heard.
"""

from __future__ import annotations

import math

import numpy as np

from trainer.core.types import Floats, Samples
from trainer.echo.adaptive_filter import AdaptiveFilter, FilterUpdate
from trainer.echo.delay import DelayEstimate, estimate_delay
from trainer.echo.residual_suppressor import ResidualSuppressor
from trainer.sound import REFERENCE_LEAD_S

BLOCK_S = 0.043
"""Blocks longer than a click learn from one click what short ones do not learn from ten."""
SEARCHED, LAGS = 4, 8
"""Blocks of reference sound that are looked for at a time, and blocks by which they may be late."""
HEAD_S = 0.004
"""The filter begins so long before the delay that was found: a peak need not be the first."""
EXPECTED_S = REFERENCE_LEAD_S - 0.02
"""Where a steady tone's echo is taken to begin, by what drivers say."""
FOUND_PRIOR, EXPECTED_PRIOR = 10.0, 3.0
"""How far off the filter may be at first, in the echo's power: the strongest delay that was found
may be one of many in a reverberant room, while a tone fits any filter, so that one that may be
far off goes astray (both measured: `python -m benchmarks.echo`)."""
LIKELY, SURE = 40.0, 150.0
"""Heights of a delay's peak to be believed when seen twice, and at once."""
AGREE_S = 0.001
"""Delays seen in two sounds, so close to each other, are one."""
SHOWS = 12
"""Blocks after a tone's start in which its echo shows. What comes later in the tone's pitch is
taken for the player, who hears the tone in headphones and plays after it."""
MEMORY = 0.85
"""Share of the evidence for use that is kept from block to block."""


class EchoCanceller:
    """Takes what the trainer plays out of what the microphone hears."""

    def __init__(self, rate: int) -> None:
        """`rate` in samples a second."""
        self._rate = rate
        self._size = size = 1 << round(math.log2(BLOCK_S * rate))
        kept = size * (SEARCHED + LAGS + 1)
        self._reference = np.zeros(kept)
        self._past, self._first = np.zeros(2 * kept), 0
        self._heard = self._past[:kept]
        self._filled = self._blocks = 0
        self._silent = SEARCHED + LAGS + 1
        self._sounding = 0
        self._filter = AdaptiveFilter(rate, size)
        self._suppressor = ResidualSuppressor(rate, size)
        self._seen: tuple[int, int] | None = None
        self._gained = self._at_stake = self._strongest = 0.0
        self._found = False
        self._useful = False

    def cancel(self, samples: Samples, reference: Samples | None) -> Floats:
        """Samples without the trainer's reference sound.

        Args:
            samples: as heard, float32, shape (n,).
            reference: what the trainer played, as in `Block.reference`; None for silence.

        Returns:
            Shape (n,); `samples` themselves where nothing is taken out.
        """
        made: list[Floats] = []
        at = 0
        while at < len(samples):
            count = min(self._size - self._filled, len(samples) - at)
            piece = slice(at, at + count)
            made.append(
                self._cancel_within_block(
                    samples[piece], None if reference is None else reference[piece]
                )
            )
            at += count
        return np.concatenate(made) if len(made) > 1 else made[0] if made else samples

    def _cancel_within_block(self, samples: Samples, reference: Samples | None) -> Floats:
        """Part of a block without the trainer's reference sound."""
        first, last = self._filled, self._filled + len(samples)
        kept = slice(
            len(self._reference) - self._size + first, len(self._reference) - self._size + last
        )
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
        """Learn from a block that is full, and predict the next."""
        size, filter_ = self._size, self._filter
        self._blocks += 1
        sounds = self._reference[-size:].any()
        self._sounding = self._sounding + 1 if sounds else 0
        self._silent = 0 if sounds else self._silent + 1
        if self._silent <= SEARCHED + LAGS:
            heard = self._heard[-size:]
            left = heard - filter_.echo if filter_.echo is not None else heard
            self._suppressor.observe(left, hiding=self._useful and filter_.echo is not None)
            outcome = filter_.adapt(heard)
            if outcome is not None:
                self._weigh(outcome)
            if self._sounding == SEARCHED and not filter_.known:
                self._expect_tone()
            if not self._useful and self._blocks % (SEARCHED // 2) == 0:
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
        """Make room for the next block behind those that are kept."""
        size, kept, past = self._size, len(self._reference), self._past
        if self._silent <= SEARCHED + LAGS:  # else there is nothing but silence in it
            self._reference[:-size] = self._reference[size:]
        self._first += size
        if self._first + kept > len(past):
            past[: kept - size] = past[self._first : self._first + kept - size]
            self._first = 0
        self._heard = past[self._first : self._first + kept]

    def _expect_tone(self) -> None:
        """A sound too narrow to tell its delay has begun: its echo is where drivers say."""
        reference = self._reference[-SEARCHED * self._size :]
        if (
            estimate_delay(
                reference * np.hanning(len(reference)), reference, self._rate, self._size
            )
            is None
        ):
            self._begin(EXPECTED_S * self._rate, 1.0, EXPECTED_PRIOR)

    def _search(self) -> None:
        """Look for the echo: it is not known, or what is known is of no use."""
        size = self._size
        reference = self._reference[size : (SEARCHED + 1) * size]
        middle = reference * np.hanning(len(reference))
        if float(reference @ middle) <= 0.25 * float(reference @ reference):
            return  # nothing, or most of it at the edge, where it is in other searches
        found = estimate_delay(middle, self._heard[size:], self._rate, LAGS * size)
        if found is None or not self._is_believed(found):
            return
        if not self._filter.covers(found.lag):
            start = max(float(size), found.lag - HEAD_S * self._rate)
            self._begin(start, found.gain, FOUND_PRIOR)
            self._useful = self._useful or found.height > SURE
            self._found = True

    def _is_believed(self, found: DelayEstimate) -> bool:
        """Whether a delay is sure, or was seen before in other sound."""
        if found.height < LIKELY:
            return False
        seen, self._seen = self._seen, (self._blocks, found.lag)
        again = (
            seen is not None
            and self._blocks - seen[0] >= SEARCHED
            and abs(found.lag - seen[1]) < AGREE_S * self._rate
        )
        return again or found.height > SURE

    def _begin(self, start: float, gain: float, prior: float) -> None:
        """Learn from all that is kept, as if the delay had always been known."""
        size, filter_ = self._size, self._filter
        self._gained = self._at_stake = self._strongest = 0.0
        filter_.restart(start, gain, prior)
        for back in range((len(self._reference) - round(start)) // size - 2, 0, -1):
            end = len(self._heard) - (back - 1) * size
            filter_.predict(self._reference, back)
            outcome = filter_.adapt(self._heard[end - size : end])
            if outcome is not None:
                self._weigh(outcome)

    def _weigh(self, outcome: FilterUpdate) -> None:
        """Whether the prediction is of use: by what it would have taken away, each frequency by
        how well the noise there lets it be seen."""
        predicted, left = outcome.predicted, outcome.left
        before = np.abs(predicted + left) ** 2
        power = np.abs(predicted) ** 2
        self._strongest = max(float(power.max()), 0.8 * self._strongest)
        noise = np.maximum(outcome.noise, before) + 0.1 * self._strongest + 1e-12
        gained = float(np.sum((before - np.abs(left) ** 2) / noise))
        self._gained = MEMORY * self._gained + gained
        self._at_stake = MEMORY * self._at_stake + float(np.sum(power / noise))
        chance = 3.0 * math.sqrt(self._at_stake)
        if self._useful:
            self._useful = self._gained > -chance
        elif self._found or self._sounding <= SHOWS:
            self._useful = self._gained > max(0.5 * self._at_stake, chance)
