"""Smooth readings for the display.

Some 200 readings arrive a second, and each differs a little. What is displayed is one whole number
of cents, from which the needle, the number and the verdict all follow, so that they never disagree.
It is the median of the last 50 ms, and changes at most every 50 ms, when the median has left it by
more than 0.6 cents. Leaks and missing holes change at most every 80 ms, and count after 150 ms.
After the sound stops, the last value stays for 0.7 s, dimmed. All times are on the sample clock.
"""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass, field, replace
from statistics import median

from trainer.drill import Sound, format_sound
from trainer.ear import Reading
from trainer.harp import Breath, Harp, Tab
from trainer.music import cents

DEFAULT_TOLERANCE_CENTS = 10.0
"""Offset that counts as in tune where no drill sets it, in cents."""


@dataclass(frozen=True, slots=True)
class SmoothingParameters:
    """Constants of the display smoothing. None of them affects a mark.

    Attributes:
        median_s: window of the median, in seconds; also the time without a pitch after
            which the sound counts as ended.
        number_s: minimum time between two changes of the number, in seconds.
        update_s: minimum time between two changes of the leak, in seconds.
        tab_switch_s: time another tab entry must sound before it is displayed, in seconds.
        wrong_note_s: time a note other than the wanted one must sound before it is called wrong,
            in seconds: the note before may still ring, or the wanted one come early or late.
        hold_s: time the last value stays after the sound has ended, in seconds.
        hysteresis_cents: distance between the median and the displayed number above which the
            number changes, in cents. More than 0.5, so that it does not flicker.
        wanted_range_cents: distance from the wanted note, in cents, above which the right hole
            and breath still count as another note.
        leak_limit_db: level above which a leak is displayed instead of the pitch, in dB relative to
            the main hole: where cleanness earns as much as pitch does at its tolerance.
    """

    median_s: float = 0.050
    number_s: float = 0.050
    update_s: float = 0.080
    tab_switch_s: float = 0.030
    wrong_note_s: float = 0.15
    hold_s: float = 0.7
    hysteresis_cents: float = 0.6
    wanted_range_cents: float = 150.0
    leak_limit_db: float = -24.0


SMOOTHING = SmoothingParameters()


@dataclass(frozen=True, slots=True)
class DisplayedReading:
    """What the gauge, the readout and the hole strip show.

    Attributes:
        tab: what sounds: the wanted entry while the sound is on it or on its way to it; None when
            nothing has sounded for a while.
        whole_cents: offset from the target of `tab` in whole cents; positive is sharp.
        wanted: the sound to play now; empty for none.
        wrong_note: whether a note other than the wanted one sounds.
        missing: holes of a wanted chord that do not sound.
        leaks: whether an unwanted hole is too loud.
        ended: whether the sound has ended and these are its last values.
        pitch_pending: whether an onset was detected whose pitch is not known yet.
        tolerance: cents that still count as in tune.
        breath: direction of breath, if known.
        holes: holes that sound.
        leak_hole, leak_db: the loudest unwanted hole, and its level relative to the main one.
        levels: (hole, dB relative to the main hole) of each hole that was measured.
        level_db: level of the sound in dB re full scale.
    """

    tab: Tab | None = None
    whole_cents: int | None = None
    wanted: Sound = ()
    wrong_note: bool = False
    missing: tuple[int, ...] = ()
    leaks: bool = False
    ended: bool = False
    pitch_pending: bool = False
    tolerance: float = DEFAULT_TOLERANCE_CENTS
    breath: Breath | None = None
    holes: tuple[int, ...] = ()
    leak_hole: int | None = None
    leak_db: float | None = None
    levels: tuple[tuple[int, float], ...] = ()
    level_db: float = -120.0

    @property
    def state(self) -> str:
        """One of ``silent``, ``wrong``, ``missing``, ``flat``, ``sharp``, ``leak``, ``good``."""
        if self.tab is None or self.whole_cents is None:
            return "silent"
        if self.wrong_note:
            return "wrong"
        if self.missing:
            return "missing"
        if abs(self.whole_cents) <= self.tolerance:
            return "leak" if self.leaks else "good"
        return "sharp" if self.whole_cents > 0 else "flat"

    @property
    def wanted_text(self) -> str:
        """The wanted sound as tab; empty for none."""
        return format_sound(self.wanted) if self.wanted else ""


@dataclass(slots=True)
class _Needle:
    """The pitch on display.

    Attributes:
        offsets: (sample, cents from the target) within the median window.
        tab: the entry on display; None for none.
        whole_cents: the number on display; None until it is updated.
        last_pitch: sample of the last reading with a pitch.
        rival: another entry that sounds, and the sample since which it does.
        wrong_note: whether the entry is not the wanted one.
        wrong_since: sample since which it is not.
    """

    offsets: deque[tuple[int, float]] = field(default_factory=deque)
    tab: Tab | None = None
    whole_cents: int | None = None
    last_pitch: int = 0
    rival: tuple[Tab, int] | None = None
    wrong_note: bool = False
    wrong_since: int = 0

    @property
    def median_cents(self) -> float | None:
        """Median offset in cents; None for no offsets."""
        return median(offset for _, offset in self.offsets) if self.offsets else None


class DisplaySmoother:
    """Smooths a stream of readings.

    Args:
        harp: the harp that is played.
        tolerance: cents that still count as in tune.
    """

    def __init__(self, harp: Harp, tolerance: float = DEFAULT_TOLERANCE_CENTS) -> None:
        self.harp = harp
        self.tolerance = tolerance
        self._needle = _Needle()
        self._newest: Reading | None = None
        self._wanted: Sound = ()
        self._due: Sound = ()
        self._onset: int | None = None
        self._since_update: list[Reading] = []
        self._last_update = self._last_number = 0
        self._faulty_since: int | None = None
        self._updated = DisplayedReading(tolerance=tolerance)
        self._displayed: DisplayedReading | None = None

    def add(
        self, reading: Reading, wanted: Sound, due: bool = True, *, neighbours: bool = False
    ) -> None:
        """Add the next reading.

        Args:
            reading: the reading.
            wanted: the sound to play; empty for none.
            due: whether it is due now; before that, any note may sound.
            neighbours: whether neighbouring holes may sound, too.
        """
        self._newest = reading
        self._displayed = None
        self._wanted = wanted
        self._set_due(wanted if due else (), reading.sample)
        self._since_update.append(reading)
        if reading.onset is not None:
            self._onset = reading.onset
        needle = self._needle
        if reading.hz is not None and reading.tab is not None and reading.cents is not None:
            self._add_pitch(reading, reading.hz, reading.tab, reading.cents)
        elif reading.sample - needle.last_pitch > SMOOTHING.hold_s * reading.rate:
            needle.tab = needle.whole_cents = None
            needle.offsets.clear()
        switched = needle.whole_cents is None and needle.tab is not None
        if switched or reading.sample - self._last_number >= SMOOTHING.number_s * reading.rate:
            self._last_number = reading.sample
            self._update_number()
        if switched or reading.sample - self._last_update >= SMOOTHING.update_s * reading.rate:
            self._last_update = reading.sample
            self._update(neighbours)

    def _set_due(self, due: Sound, sample: int) -> None:
        if due != self._due:
            self._due = due
            self._needle.offsets.clear()
            self._needle.wrong_since = sample

    def _add_pitch(self, reading: Reading, hz: float, tab: Tab, own_cents: float) -> None:
        needle = self._needle
        target = self._target(reading, tab)
        offset = cents(hz, self.harp.hz(target)) if target else own_cents
        if target and abs(offset) > SMOOTHING.wanted_range_cents:
            target, offset = None, own_cents
        tab = target or tab
        silence = reading.sample - needle.last_pitch
        fresh = needle.tab is None or silence > SMOOTHING.median_s * reading.rate
        if tab != needle.tab and not fresh and not self._persists(reading, tab):
            return
        wrong = target is None
        if wrong and not needle.wrong_note:
            needle.wrong_since = reading.sample
        if fresh or tab != needle.tab or wrong != needle.wrong_note:
            needle.offsets.clear()
            needle.whole_cents = None
        needle.tab, needle.wrong_note, needle.rival = tab, wrong, None
        needle.last_pitch = reading.sample
        needle.offsets.append((reading.sample, offset))
        while reading.sample - needle.offsets[0][0] > SMOOTHING.median_s * reading.rate:
            needle.offsets.popleft()

    def _target(self, reading: Reading, tab: Tab) -> Tab | None:
        """Return the due entry that a reading is on, or on its way to.

        Returns:
            `tab` itself where nothing is due; None where another note sounds.
        """
        if not self._due:
            return tab
        for entry in self._due:
            if entry == tab or entry in reading.also:
                return entry
        for entry in self._due:
            if (entry.hole, entry.breath) == (tab.hole, tab.breath):
                return entry
        return None

    def _persists(self, reading: Reading, tab: Tab) -> bool:
        """Return whether another entry has sounded long enough to be displayed."""
        needle = self._needle
        if needle.rival is None or needle.rival[0] != tab:
            needle.rival = (tab, reading.sample)
        return reading.sample - needle.rival[1] >= SMOOTHING.tab_switch_s * reading.rate

    def _update_number(self) -> None:
        needle, middle = self._needle, self._needle.median_cents
        if middle is not None and (
            needle.whole_cents is None
            or abs(middle - needle.whole_cents) > SMOOTHING.hysteresis_cents
        ):
            needle.whole_cents = round(middle)

    def _update(self, neighbours: bool) -> None:
        """Update the leak, the missing holes and the levels."""
        newest = self._since_update[-1]
        leak_hole, leak_db = self._leak()
        is_loud = leak_db is not None and leak_db > SMOOTHING.leak_limit_db
        leaks = bool(self._due) and is_loud and not neighbours  # a chord is nothing wrong of itself
        missing = self._missing()
        if not (leaks or missing):
            self._faulty_since = None
        elif self._faulty_since is None:
            self._faulty_since = newest.sample
        lasts = (
            self._faulty_since is not None
            and newest.sample - self._faulty_since >= SMOOTHING.wrong_note_s * newest.rate
        )
        measured = newest if newest.holes or newest.levels else None
        self._updated = DisplayedReading(
            breath=newest.breath,
            holes=measured.holes if measured else (),
            leak_hole=leak_hole,
            leak_db=leak_db,
            missing=missing if lasts else (),
            leaks=leaks and lasts,
            levels=measured.levels if measured else (),
            level_db=max(reading.level_db for reading in self._since_update),
        )
        self._since_update.clear()

    def _missing(self) -> tuple[int, ...]:
        """Return the holes of a due chord that sounded in less than half of the readings."""
        sounding = [reading.holes for reading in self._since_update if reading.holes]
        if len(self._due) < 2 or not sounding:
            return ()
        return tuple(
            tab.hole
            for tab in self._due
            if 2 * sum(tab.hole in holes for holes in sounding) < len(sounding)
        )

    def _leak(self) -> tuple[int | None, float | None]:
        """Return the unwanted hole and its level if it leaked in half of the readings or more."""
        wanted = {tab.hole for tab in self._wanted}
        leaks = [
            (reading.leak_hole, reading.leak_db)
            for reading in self._since_update
            if reading.leak_hole is not None
            and reading.leak_db is not None
            and reading.leak_hole in reading.holes  # a level may be measured of a silent hole
            and reading.leak_hole not in wanted
        ]
        sounding = sum(1 for reading in self._since_update if reading.holes)
        if not leaks or 2 * len(leaks) < sounding:
            return None, None
        hole = Counter(hole for hole, _ in leaks).most_common(1)[0][0]
        return hole, median(level for _, level in leaks)

    @property
    def displayed(self) -> DisplayedReading:
        """The smoothed reading to display now."""
        if self._displayed is None:
            self._displayed = self._display()
        return self._displayed

    def _display(self) -> DisplayedReading:
        newest, needle = self._newest, self._needle
        if newest is None:
            return self._updated
        sounding = newest.sample - needle.last_pitch <= SMOOTHING.median_s * newest.rate
        wrong_for = needle.last_pitch - needle.wrong_since
        pending = newest.sounding and self._onset is not None and needle.last_pitch < self._onset
        return replace(
            self._updated,
            tab=needle.tab,
            whole_cents=needle.whole_cents,
            wanted=self._wanted,
            wrong_note=needle.wrong_note and wrong_for >= SMOOTHING.wrong_note_s * newest.rate,
            ended=needle.tab is not None and not sounding,
            pitch_pending=pending,
            tolerance=self.tolerance,
        )
