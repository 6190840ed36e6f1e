"""The reading as it is shown: calm enough to be read, quick enough to be true.

Readings come some two hundred times a second and every one of them differs a little. The needle
stands on the median of the last 50 ms; the number and the leak change at most twelve times a
second, and the number only when the needle has really left it; after the sound stops the last
value stays, dimmed, for 0.7 s. All times are on the sample clock.
"""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass, replace
from statistics import median

from trainer.drill import Sound, sound_text
from trainer.ear import Reading
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents

MEDIAN_S = 0.050
UPDATE_S = 0.080
TAB_SWITCH_S = 0.030
"""How long another tab entry must sound before the readout turns to it."""
GRACE_S = 0.15
"""How long another note than the wanted one may sound before it is called that: the note before
may still ring, and the wanted one come a little early or late."""
HOLD_S = 0.7
NUMBER_HYSTERESIS_CENTS = 0.6
WANTED_RANGE_CENTS = 150.0
"""Further from the wanted note than this, the right hole and breath still play another note."""


@dataclass(frozen=True, slots=True)
class DisplayedReading:
    """What the gauge, the readout and the ten-hole strip show.

    Attributes:
        tab: what sounds: the wanted entry while the sound is that or on its way to it; None when
            nothing has sounded for a while.
        cents: where the needle stands, from the target of `tab`; positive is sharp.
        number: the same, calmed, in whole cents.
        wanted: the sound asked for at this moment; empty when none is.
        other: whether another note than the wanted one sounds.
        held: whether the sound has stopped and this is what it last was.
        begun: whether something has just begun to sound whose pitch is not known yet.
        tolerance: cents that still count as in tune.
        breath: direction of breath, if known.
        holes: holes that sound.
        leak_hole, leak_db: the loudest unwanted hole, and its level under the main one.
        levels: (hole, dB relative to the main hole) of each hole that was measured.
        level_db: level of the sound, dB re full scale.
    """

    tab: Tab | None = None
    cents: float | None = None
    number: int | None = None
    wanted: Sound = ()
    other: bool = False
    held: bool = False
    begun: bool = False
    tolerance: float = 10.0
    breath: Breath | None = None
    holes: tuple[int, ...] = ()
    leak_hole: int | None = None
    leak_db: float | None = None
    levels: tuple[tuple[int, float], ...] = ()
    level_db: float = -120.0

    @property
    def state(self) -> str:
        """One of ``silent``, ``wrong``, ``good``, ``flat``, ``sharp``."""
        if self.tab is None or self.number is None:
            return "silent"
        if self.other:
            return "wrong"
        if abs(self.number) <= self.tolerance:
            return "good"
        return "sharp" if self.number > 0 else "flat"

    @property
    def wanted_text(self) -> str:
        """The wanted sound as tab; empty when none is."""
        return sound_text(self.wanted) if self.wanted else ""


class DisplaySmoother:
    """Calms readings for the eye.

    Args:
        harp: the harp in hand.
        tolerance: cents that still count as in tune.
    """

    def __init__(self, harp: Harp, tolerance: float = 10.0) -> None:
        self.harp = harp
        self.tolerance = tolerance
        self._recent: deque[tuple[int, float]] = deque()
        self._since: list[Reading] = []
        self._tab: Tab | None = None
        self._other = False
        self._rival: tuple[Tab, int] | None = None
        self._number: int | None = None
        self._last_pitch = 0
        self._attack: int | None = None
        self._changed = 0
        self._calm = DisplayedReading(tolerance=tolerance)
        self._newest: Reading | None = None
        self._wanted: Sound = ()
        self._aims: Sound = ()
        self._other_since = 0
        self._shown: DisplayedReading | None = None

    def hear(self, reading: Reading, wanted: Sound, due: bool = True) -> None:
        """Take the next reading.

        Args:
            reading: what was heard.
            wanted: the sound asked for; empty for none.
            due: whether it is asked for at this moment; before that, any note may sound.
        """
        self._newest = reading
        self._shown = None
        self._wanted = wanted
        aims = wanted if due else ()
        if aims != self._aims:
            self._aims = aims
            self._recent.clear()
            self._other_since = reading.sample
        self._since.append(reading)
        if reading.onset is not None:
            self._attack = reading.onset
        if reading.hz is not None and reading.tab is not None and reading.cents is not None:
            self._hear_pitch(reading, reading.hz, reading.tab, reading.cents)
        elif reading.sample - self._last_pitch > HOLD_S * reading.rate:
            self._tab = self._number = None
            self._recent.clear()
        turned = self._number is None and self._tab is not None
        if turned or reading.sample - self._changed >= UPDATE_S * reading.rate:
            self._changed = reading.sample
            self._calm_down()

    def _hear_pitch(self, reading: Reading, hz: float, tab: Tab, own_cents: float) -> None:
        aim = self._aim(reading, tab)
        off = cents(hz, self.harp.hz(aim)) if aim else own_cents
        if aim and abs(off) > WANTED_RANGE_CENTS:
            aim, off = None, own_cents
        tab = aim or tab
        fresh = self._tab is None or reading.sample - self._last_pitch > MEDIAN_S * reading.rate
        if tab != self._tab and not fresh and not self._persists(reading, tab):
            return
        other = aim is None
        if other and not self._other:
            self._other_since = reading.sample
        if fresh or tab != self._tab or other != self._other:
            self._recent.clear()
            self._number = None
        self._tab, self._other, self._rival = tab, other, None
        self._last_pitch = reading.sample
        self._recent.append((reading.sample, off))
        while reading.sample - self._recent[0][0] > MEDIAN_S * reading.rate:
            self._recent.popleft()

    def _aim(self, reading: Reading, tab: Tab) -> Tab | None:
        """The wanted entry that this reading is on or on its way to; its own where none is."""
        if not self._aims:
            return tab
        for entry in self._aims:
            if entry == tab or entry in reading.also:
                return entry
        for entry in self._aims:
            if (entry.hole, entry.breath) == (tab.hole, tab.breath):
                return entry
        return None

    def _persists(self, reading: Reading, tab: Tab) -> bool:
        if self._rival is None or self._rival[0] != tab:
            self._rival = (tab, reading.sample)
        return reading.sample - self._rival[1] >= TAB_SWITCH_S * reading.rate

    def _calm_down(self) -> None:
        if self._recent:
            middle = median(off for _, off in self._recent)
            if self._number is None or abs(middle - self._number) > NUMBER_HYSTERESIS_CENTS:
                self._number = round(middle)
        newest = self._since[-1]
        leak_hole, leak_db = self._leak()
        pitched = newest if newest.holes or newest.levels else None
        self._calm = DisplayedReading(
            number=self._number,
            breath=newest.breath,
            holes=pitched.holes if pitched else (),
            leak_hole=leak_hole,
            leak_db=leak_db,
            levels=pitched.levels if pitched else (),
            level_db=max(reading.level_db for reading in self._since),
        )
        self._since.clear()

    def _leak(self) -> tuple[int | None, float | None]:
        """The leak of most of the readings since the last change, unless it is wanted."""
        wanted = {tab.hole for tab in self._wanted}
        leaks = [
            (reading.leak_hole, reading.leak_db)
            for reading in self._since
            if reading.leak_hole is not None
            and reading.leak_db is not None
            and reading.leak_hole in reading.holes  # and not merely measured
            and reading.leak_hole not in wanted
        ]
        heard = sum(1 for reading in self._since if reading.holes)
        if not leaks or 2 * len(leaks) < heard:
            return None, None
        hole = Counter(hole for hole, _ in leaks).most_common(1)[0][0]
        return hole, median(level for _, level in leaks)

    @property
    def shown(self) -> DisplayedReading:
        """What to show now."""
        if self._shown is None:
            self._shown = self._show()
        return self._shown

    def _show(self) -> DisplayedReading:
        newest = self._newest
        if newest is None:
            return self._calm
        sounding = newest.sample - self._last_pitch <= MEDIAN_S * newest.rate
        middle = median(off for _, off in self._recent) if self._recent else None
        attack = self._attack
        begun = newest.sounding and attack is not None and self._last_pitch < attack
        lasting = self._last_pitch - self._other_since >= GRACE_S * newest.rate
        return replace(
            self._calm,
            tab=self._tab,
            cents=middle,
            number=self._number,
            wanted=self._wanted,
            other=self._other and lasting,
            held=self._tab is not None and not sounding,
            begun=begun,
            tolerance=self.tolerance,
        )
