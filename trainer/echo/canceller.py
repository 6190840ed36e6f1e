"""From samples as heard to samples without the trainer's own sound.

What the trainer plays comes back from a loudspeaker through the room. It is known to the sample,
but not how it comes back: `delay.py` finds when, `path.py` learns how, what it predicts is taken
off here, and `residue.py` hides what is left in a rest. What is predicted is used only while that
has been of use (two paths: Ochiai, Araseki and Ogihara 1977, IEEE Trans. Comm. 25(6), from memory):
without an echo, samples pass as they came.

Nothing is delayed: what was played is known a block before it is heard.
"""

from __future__ import annotations

import math

import numpy as np

from trainer.core.types import Floats, Samples
from trainer.echo.adaptive_filter import Outcome, Path
from trainer.echo.delay import Delay, find_delay
from trainer.echo.residual_suppressor import Residue
from trainer.sound import OWN_AHEAD_S

BLOCK_S = 0.043
"""Blocks longer than a click learn from one click what short ones do not learn from ten."""
SEARCHED, LAGS = 4, 8
"""Blocks of own sound that are looked for at a time, and blocks by which they may be late."""
HEAD_S = 0.004
"""The filter begins so long before the delay that was found: a peak need not be the first."""
EXPECTED_S = OWN_AHEAD_S - 0.02
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


class Echo:
    """Takes what the trainer plays out of what the microphone hears."""

    def __init__(self, rate: int) -> None:
        """`rate` in samples a second."""
        self._rate = rate
        self._size = size = 1 << round(math.log2(BLOCK_S * rate))
        kept = size * (SEARCHED + LAGS + 1)
        self._own = np.zeros(kept)
        self._past, self._first = np.zeros(2 * kept), 0
        self._heard = self._past[:kept]
        self._filled = self._blocks = 0
        self._silent = SEARCHED + LAGS + 1
        self._sounding = 0
        self._path = Path(rate, size)
        self._residue = Residue(rate, size)
        self._seen: tuple[int, int] | None = None
        self._gained = self._at_stake = self._strongest = 0.0
        self._found = False
        self._useful = False

    def feed(self, samples: Samples, own: Samples | None) -> Floats:
        """Samples without the trainer's own sound.

        Args:
            samples: as heard, float32, shape (n,).
            own: what the trainer played, as in `Block.own`; None for silence.

        Returns:
            Shape (n,); `samples` themselves where nothing is taken out.
        """
        made: list[Floats] = []
        at = 0
        while at < len(samples):
            count = min(self._size - self._filled, len(samples) - at)
            piece = slice(at, at + count)
            made.append(self._some(samples[piece], None if own is None else own[piece]))
            at += count
        return np.concatenate(made) if len(made) > 1 else made[0] if made else samples

    def _some(self, samples: Samples, own: Samples | None) -> Floats:
        """Part of a block without the trainer's own sound."""
        first, last = self._filled, self._filled + len(samples)
        kept = slice(len(self._own) - self._size + first, len(self._own) - self._size + last)
        self._heard[kept] = samples
        self._own[kept] = 0.0 if own is None else own
        cleaned: Floats = samples
        echo = self._path.echo
        if self._useful and echo is not None:
            cleaned = self._residue.hide(samples - echo[first:last], first)
        self._filled = last
        if last == self._size:
            self._filled = 0
            self._next_block()
        return cleaned

    def _next_block(self) -> None:
        """Learn from a block that is full, and predict the next."""
        size, path = self._size, self._path
        self._blocks += 1
        sounds = self._own[-size:].any()
        self._sounding = self._sounding + 1 if sounds else 0
        self._silent = 0 if sounds else self._silent + 1
        if self._silent <= SEARCHED + LAGS:
            heard = self._heard[-size:]
            left = heard - path.echo if path.echo is not None else heard
            self._residue.judge(left, hiding=self._useful and path.echo is not None)
            outcome = path.learn(heard)
            if outcome is not None:
                self._weigh(outcome)
            if self._sounding == SEARCHED and not path.known:
                self._expect_tone()
            if not self._useful and self._blocks % (SEARCHED // 2) == 0:
                self._search()
            if path.known:
                path.predict(self._own)
            self._residue.expect(path.echo, path.uncertainty())
        else:
            path.echo = None
        if path.known:
            path.advance()
        self._slide()

    def _slide(self) -> None:
        """Make room for the next block behind those that are kept."""
        size, kept, past = self._size, len(self._own), self._past
        if self._silent <= SEARCHED + LAGS:  # else there is nothing but silence in it
            self._own[:-size] = self._own[size:]
        self._first += size
        if self._first + kept > len(past):
            past[: kept - size] = past[self._first : self._first + kept - size]
            self._first = 0
        self._heard = past[self._first : self._first + kept]

    def _expect_tone(self) -> None:
        """A sound too narrow to tell its delay has begun: its echo is where drivers say."""
        own = self._own[-SEARCHED * self._size :]
        if find_delay(own * np.hanning(len(own)), own, self._rate, self._size) is None:
            self._begin(EXPECTED_S * self._rate, 1.0, EXPECTED_PRIOR)

    def _search(self) -> None:
        """Look for the echo: it is not known, or what is known is of no use."""
        size = self._size
        own = self._own[size : (SEARCHED + 1) * size]
        middle = own * np.hanning(len(own))
        if float(own @ middle) <= 0.25 * float(own @ own):
            return  # nothing, or most of it at the edge, where it is in other searches
        found = find_delay(middle, self._heard[size:], self._rate, LAGS * size)
        if found is None or not self._is_believed(found):
            return
        if not self._path.covers(found.lag):
            start = max(float(size), found.lag - HEAD_S * self._rate)
            self._begin(start, found.gain, FOUND_PRIOR)
            self._useful = self._useful or found.height > SURE
            self._found = True

    def _is_believed(self, found: Delay) -> bool:
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
        size, path = self._size, self._path
        self._gained = self._at_stake = self._strongest = 0.0
        path.begin(start, gain, prior)
        for back in range((len(self._own) - round(start)) // size - 2, 0, -1):
            end = len(self._heard) - (back - 1) * size
            path.predict(self._own, back)
            outcome = path.learn(self._heard[end - size : end])
            if outcome is not None:
                self._weigh(outcome)

    def _weigh(self, outcome: Outcome) -> None:
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
