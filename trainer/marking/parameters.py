"""Parameters of marking: one frozen object for each stage.

"Chosen by hand" means that no fit to data is on record: the value was chosen while the tests of
``tests/marking`` were written, which put faults of known size into synthetic readings and into the
built-in player, and expect them back.
"""

from __future__ import annotations

from dataclasses import dataclass

Curve = tuple[tuple[float, float], ...]
"""A line through (figure, points), from best to worst, level beyond its ends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowerParameters:
    """Costs of the hidden Markov model in :mod:`trainer.marking.follower`. All chosen by hand.

    A cost stands for a negative log probability and has no unit: only differences matter. Emission
    costs are per reading (5 ms). They are small, because neighbouring readings depend on each other
    and each adds little evidence. Transition costs are paid once.
    """

    pitch_per_cent: float = 0.005
    """Emission: cost of each cent between a reading's pitch and the step's, in a right state."""
    mismatch: float = 0.5
    """Emission: greatest cost of a reading in a right state, reached 100 cents off the pitch."""
    blurred: float = 0.1
    """Emission: cost of a reading in which the wanted hole sounds and a neighbour has the pitch."""
    partial_chord: float = 0.15
    """Emission: cost of a chord of which the wanted fraction of holes tends to 0, where at least
    one wanted hole sounds."""
    wrong: float = 0.1
    """Emission: cost of any sounding reading in a wrong state."""
    extra: float = 0.2
    """Emission: cost of a sounding reading in a gap."""
    silent: float = 0.5
    """Emission: cost of a silent reading in a step."""
    unpitched_in_step: float = 0.2
    """Emission: cost of a sounding reading with neither pitch nor holes, in a step."""
    unpitched_in_gap: float = 0.1
    """Emission: cost of such a reading in a gap."""

    skip: float = 16.0
    """Transition: cost of leaving out a step, from the gap before it to the gap after it."""
    skip_optional: float = 2.0
    """Transition: the same of a step that may be left out."""
    enter_wrong: float = 15.0
    """Transition: extra cost of entering a step in its wrong state."""
    right_to_wrong: float = 4.0
    """Transition: cost of going from right to wrong within a step. The way back is free."""
    off_time: float = 12.0
    """Transition: cost of entering a step one step length away from its due time."""
    late_max: float = 12.0
    """Transition: greatest cost of entering late."""
    early_max: float = 48.0
    """Transition: greatest cost of entering early; above `late_max`, because players hesitate more
    than they leap ahead."""
    own_beat: float = 0.5
    """Transition: extra cost of judging the time relative to the step before."""
    off_time_wrong_factor: float = 2.0
    """Factor on the cost of being off time where a step is entered in its wrong state."""
    reattack: float = 10.0
    """Transition: cost of an attack within a step."""
    slur: float = 1.0
    """Transition: cost of entering a step from the one before without an attack."""
    slur_shared: float = 6.0
    """Transition: the same where the two steps have a reed in common."""
    held_on: float = 10.0
    """Transition: the same where all reeds are the same. Below `skip`, because the pitch that goes
    on may be the step's; `reattack` on top of it is above `late_max`, so that an attack that comes
    late still begins the step."""
    sounding_gap: float = 24.0
    """Transition: cost of entering a step without an attack out of a gap that still sounds."""
    soft_attack: float = 3.0
    """Transition: cost of entering a step out of silence without a detected attack."""
    leave_at_once: float = 16.0
    """Transition: cost of leaving a step at the moment of entering it, as high as `skip`. It falls
    linearly to 0 at `full_length`."""
    full_length: float = 0.3
    """Fraction of a step's length from which leaving it is free."""

    grace_s: float = 0.08
    """Time in seconds by which a step with a grace note is due before its beat (common practice: a
    grace note is as short as its reed allows)."""
    min_time_scale_s: float = 0.25
    """Shortest step length in seconds that `off_time` is scaled by."""
    max_time_scale_s: float = 1.0
    """Longest step length in seconds that `off_time` is scaled by."""
    same_reed_cents: float = 1.0
    """Distance in cents below which two pitches are the same reed's."""
    same_pitch_cents: float = 20.0
    """Distance in cents below which a step without an attack may be the one before it held on:
    draw 2 and blow 3 of a harp differ by less."""
    beam: float = 120.0
    """Beam width: a state this much worse than the best one is pruned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OnsetParameters:
    """When a step starts; see :mod:`trainer.marking.onset`. All chosen by hand."""

    attack_frames: int = 3
    """Readings from a segment's first in which its attack may be detected."""
    slur_frames: int = 24
    """Readings (120 ms) on each side of a slur from which the two pitches are taken. Readings this
    far after a segment's end do not change its figures."""
    edge_frames: int = 3
    """Readings next to a slur that are left out on each side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementParameters:
    """How a step is measured; see :mod:`trainer.marking.measurement`.

    Chosen by hand unless the field says otherwise.
    """

    min_pitch_frames: int = 4
    """Fewest readings with a pitch (20 ms) from which a pitch is measured."""
    min_line_frames: int = 8
    """Fewest readings (40 ms) that a line is fitted to."""
    release_ms: float = 40.0
    """Time in milliseconds before the end of a step in which the breath lets go."""
    release_divisor: float = 5.0
    """A release takes at most the length of the step divided by this."""
    outlier_cents: float = 50.0
    """Distance in cents from the median of five readings beyond which a reading is an outlier: no
    reed moves so far and back within 25 ms."""
    max_octaves: float = 0.2
    """Fraction of a note's readings up to which those on its second or third partial are errors of
    the ear: a room may cancel a fundamental for a moment. Chosen by hand."""
    max_chord_cents: float = 60.0
    """Distance in cents from a chord's reeds beyond which the pitch is not the chord's."""

    stays_ms: float = 200.0
    """Time in milliseconds for which a settled pitch stays within its band."""
    stays_fraction: float = 0.9
    """Fraction of the readings of that time that must lie within the band."""
    band_sds: float = 2.0
    """Half width of the band in standard deviations, if that is more than the tolerance."""
    max_band_tolerances: float = 5.0
    """Greatest half width of the band, in tolerances."""
    line_divisor: float = 3.0
    """The line of a held pitch is fitted without the first part of the note: its length divided by
    this."""
    arrival_ms: float = 40.0
    """Time in milliseconds after settling that is left out of the held span: the end of a scoop,
    within the tolerance already."""
    arrival_divisor: float = 5.0
    """That time is at most the rest of the note divided by this."""
    unsettled_ms: float = 120.0
    """Where a note never settles, earliest start in milliseconds of its held span."""

    speaking_ms: float = 60.0
    """Time in milliseconds that a reed takes to speak, left out of a glide's first rest."""
    min_last_rest_ms: float = 30.0
    """Shortest last rest of a glide in milliseconds, its release included if need be."""
    shortened_ladder: float = 0.85
    """Fraction of its length under which a ladder is shortened: its rungs may be equal parts of the
    time for which it was held. Chosen by hand."""
    smooth_frames: int = 5
    """Length in readings of the median filter on a glide's pitch."""
    turn_cents: float = 5.0
    """Smallest turn of a glide's pitch in cents that counts."""
    top_percentile: float = 95.0
    """Percentile of the pitch in a cycle of vibrato that is its top: 2 of 40 readings lie above it,
    and a sinusoid is there within 1 % of its extent."""
    min_tops: int = 4
    """Fewest cycles of vibrato from whose tops wobble and drift are measured."""
    min_shake_cycles: int = 2
    """Fewest cycles that are a shake."""
    min_together: float = 0.5
    """Fraction of the readings in which both reeds of a shake sound from which their levels
    separate them: in a room that rings, and on the lowest reeds, which speak and stop slowly. Dry,
    on a C harp from hole 2 up, it is 0 to 0.2 (built-in player)."""
    min_level_swing_db: float = 3.0
    """Least range of the difference between the levels of two reeds that sound in turn. It is below
    1 dB in a chord of the built-in player, above 4 dB in a shake in a modelled living room."""
    min_shake_visit_ms: float = 15.0
    """Shortest time on one sound of a shake in milliseconds: a fifth of that at the fastest
    shake."""
    min_inflection_ms: float = 25.0
    """Shortest scoop or fall in milliseconds that is fitted: five readings."""
    inflection_steps: int = 40
    """Number of durations, in even ratios, that are tried for a scoop or fall."""
    held_margin: float = 0.1
    """Part of a scoop or fall, beside it, that is left out of the held span, too."""
    min_grace_frames: int = 3
    """Fewest readings (15 ms) of a grace note."""
    max_overlap_frames: int = 14
    """Longest time in readings (70 ms) for which the reed of a grace note covers that of its note
    as it dies away."""
    grace_attack_frames: int = 8
    """Readings by which a note's attack may be reported before its pitch is known."""
    slide_start: float = 0.1
    """Fraction of a slide's length before which a hole is not yet looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArticulationParameters:
    """How articulation is measured; see :mod:`trainer.marking.articulation`.

    Chosen by hand unless the field says otherwise.
    """

    end_db: float = 6.0
    """Lasting fall of the level in dB that ends a note: to half the amplitude."""
    wah_db: float = 6.0
    """Depth in dB by which a wah moves the level without ending the note (common practice)."""
    level_window_s: float = 0.010
    """Window of a level in seconds: levels whose window reaches into the next note are left out."""
    soft_start_s: float = 0.2
    """Time in seconds before and after the follower's boundary in which it is looked for."""
    soft_start_frames: int = 100
    """Readings (125 ms or more) before that boundary among which these levels lie."""
    gap_db: float = 6.0
    """Level in dB below the softer of two notes from which there is a gap between them: half the
    amplitude."""
    max_gap_s: float = 0.15
    """Time in seconds before the end of a note's readings, and after it, in which a gap is
    measured; a longer gap counts as this."""
    silent_gap_db: float = 20.0
    """Level in dB below a note at which no note follows."""
    separation_s: float = 0.12
    """Time in seconds before an onset in which the level falls, and after it in which it
    rises."""
    separation_frames: int = 60
    """Readings (75 ms or more) before an onset among which these levels lie."""
    silent_separation_db: float = 20.0
    """Rise in dB that only silence precedes; deeper falls count as this."""
    slap_frames: int = 40
    """Readings of a note, from its first (100 ms or more), in which a slap's holes sound."""
    slap_holes: int = 2
    """Holes below the note that sound in a slap (common practice)."""
    slap_db: float = -20.0
    """Level in dB relative to the loudest hole from which a hole sounds in a slap."""
    min_slap_frames: int = 4
    """Fewest readings in which it does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoudnessParameters:
    """How loudness is measured; see :mod:`trainer.marking.loudness`.

    Chosen by hand unless the field says otherwise.
    """

    attack_s: float = 0.08
    """Time in seconds that a reed takes to speak, left out."""
    release_s: float = 0.1
    """Time in seconds in which the breath lets go and the reed dies away, left out."""
    edge_divisor: float = 4.0
    """Each of these takes at most the length of the note divided by this."""
    min_levels: int = 6
    """Fewest levels (30 ms) from which anything is measured."""
    percentile: float = 75.0
    """Percentile of the levels that is the level of the note."""
    window_cycles: float = 3.0
    """Length in cycles of the windows in which a modulation is fitted."""
    octaves: float = 1.25
    """Octaves to each side of the wanted rate that are searched."""
    octave_step: float = 0.05
    """Octaves between the rates that are tried: 3.5 %."""
    explained: float = 0.6
    """Least fraction of the energy beside a line that a modulation explains."""
    audible_db: float = 1.0
    """Least peak-to-peak depth in dB: the just noticeable difference in level is about 1 dB
    (Fastl and Zwicker, Psychoacoustics, chapter 7; from memory)."""
    heard_fraction: float = 0.5
    """Least fraction of the windows in which a modulation is found."""
    wah_octaves: float = 0.3
    """Octaves from the wanted rate from which a wah is too slow or fast: 85 points."""
    neighbours: int = 4
    """Notes around an accent that it is compared with, at most."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundingHolesParameters:
    """Which holes sounded; see :mod:`trainer.marking.sounding_holes`.

    Chosen by hand unless the field says otherwise.
    """

    floor_db: float = -120.0
    """Level in dB that stands for "not measured"."""
    audible_db: float = -100.0
    """Level in dB above which a hole was heard at all."""
    same_note_cents: float = 50.0
    """Distance in cents within which a pitch is the wanted note: half a half step."""
    as_loud_db: float = -3.0
    """Level in dB relative to the main hole from which the wanted one is about as loud."""
    in_turn_fraction: float = 0.1
    """Least fraction of the readings in which a reed of a shake sounds: a fifth of its half."""
    partial_tolerance: float = 0.02
    """Relative distance from a whole number within which a ratio of frequencies is a partial: about
    35 cents."""
    min_partial_ratio: float = 1.5
    """Least ratio of frequencies that can be a partial."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitParameters:
    """When a split without beats lacks a hole; see :mod:`trainer.marking.split_evidence`.

    All chosen by hand.
    """

    min_splits: int = 3
    """Fewest different splits of which none beats that are taken for lower holes alone."""
    min_beating_cents: float = 3.0
    """Least distance in cents of a measured pair from an exact interval at which it surely beats:
    reeds are measured to a cent, and breath moves them by about as much."""
    min_beats: float = 1.5
    """Least number of beats in a split's time in which they are heard."""
    as_long: float = 0.9
    """Least length of a split, relative to one that was heard to beat, in which it would, too."""
    onset_s: float = 0.3
    """Time in seconds after the onset in which no beats are heard yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExtraNoteParameters:
    """Which notes are extra; see :mod:`trainer.marking.extra_notes`. All chosen by hand."""

    min_length_s: float = 0.08
    """Shortest extra note in seconds. What is shorter is a slip from hole to hole."""
    before_beats: float = 0.5
    """Beats before the first step in which an extra note counts. What is earlier is warming up."""
    attack_frames_before: int = 8
    """Readings (40 ms) before the first of a run of readings in which its attack may be
    detected."""
    attack_frames_after: int = 3
    """Readings (15 ms) from the first of a run in which its attack may be detected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerParameters:
    """When marks are reported; see :mod:`trainer.marking.marker`. All chosen by hand."""

    lag_s: float = 0.2
    """Time in seconds since the follower left a step, or entered a later one, after which the step
    is marked."""
    patience_beats: float = 1.0
    """Beats after its end at which a step that nobody has played counts as missed."""
    frames_between_checks: int = 4
    """Readings (20 ms) between two checks for finished steps."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FreeClockParameters:
    """When a step is held; see :mod:`trainer.marking.free_marker`. All chosen by hand."""

    touch_s: float = 0.1
    """Time in seconds that the first sound of a glide must be held."""
    max_dropout_s: float = 0.06
    """Longest time in seconds that a held pitch may be out of tune."""
    same_attack_s: float = 0.08
    """Time in seconds within which two attacks are one."""
    max_leak_db: float = -24.0
    """Level in dB relative to the wanted hole from which a leak interrupts a step
    that must be clean."""
    min_vibrato_cycles: float = 3.0
    """Fewest cycles of a vibrato that are held."""
    min_shake_cycles: float = 4.0
    """Fewest cycles of a shake that are held."""
    grace_s: float = 0.3
    """Longest time in seconds from the attack of a grace note to that of its note."""
    slur_tolerances: float = 2.0
    """Distance in tolerances between two steps beyond which the second needs no new attack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PassSearchParameters:
    """Where a drill starts in a recording; see :mod:`trainer.marking.pass_search`.

    All chosen by hand.
    """

    anchors: int = 6
    """Steps, from the first, that each heard note is tried for."""
    near_beats: float = 0.35
    """Greatest distance in beats between a step's beat and the note taken for it."""
    distance_weight: float = 0.5
    """Weight of that distance: a note at the greatest distance counts as 1 less this."""
    min_score: float = 0.3
    """Score per step, 0 to 1, from which the drill is found."""
    min_shake_turns: int = 4
    """Fewest notes in turn that are a shake."""
    max_shake_turn_s: float = 0.3
    """Longest note of a shake in seconds: an uneven one at 3 cycles a second."""
    max_shake_gap_s: float = 0.04
    """Longest gap in seconds between two notes of a shake."""
    min_repeat: float = 0.7
    """Fraction of the steps from which a further pass of the drill is found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AlignmentParameters:
    """Costs of aligning heard notes with steps; see :mod:`trainer.marking.alignment`.

    A cost stands for a negative log probability. All chosen by hand, and checked on the family of
    performances "walks" of ``benchmarks/homework.py``.
    """

    slowest: float = 0.4
    """Least tempo that is searched, relative to the written one."""
    fastest: float = 2.5
    """Greatest tempo that is searched, relative to the written one."""
    tempo_step: float = 0.035
    """Distance between two tempos of the search, as a natural logarithm: 3.5 %."""
    tempo_change: float = 1.5
    """Transition: cost of going to the next faster or slower tempo from one note to the next."""
    tempo_prior: float = 1.0
    """Cost of a first tempo that is twice or half the written one; in between, in proportion."""

    right_cents: float = 45.0
    """Distance in cents within which a note is the step's; beyond, a half step is nearer."""
    other_bend: float = 1.5
    """Emission: cost of another note on the right hole and breath: a bend missed, or made."""
    wrong: float = 6.0
    """Emission: cost of any other note in the place of a step."""
    extra: float = 7.0
    """Emission: cost of a note that belongs to no step, within a try."""
    fragment: float = 0.4
    """Emission: cost of another part of the note before it, where the ear broke it in two."""
    fragment_gap_s: float = 0.05
    """Longest gap in seconds between the parts of such a note; the ear ends a note after 30 ms
    without a pitch. A longer gap is played, so that the note after it is another one."""
    noodling: float = 6.0
    """Emission: cost of a note outside a try: warming up, or talk."""
    short_s: float = 0.12
    """Length in seconds below which a note that belongs to no step costs less, in proportion."""
    soft_db: float = 15.0
    """Level in dB below the notes before from which it costs less, in proportion to the amplitude:
    a room rings on, and what the ear hears anew in it is no note that was played."""

    skip: float = 3.5
    """Transition: cost of leaving out a step between two others."""
    window: int = 4
    """Greatest number of steps that a path advances without a leap."""
    timing_s: float = 0.03
    """Standard deviation of an interval between two onsets, in seconds, apart from its length."""
    timing_fraction: float = 0.06
    """The same relative to the interval; the two are added."""
    timing_knee: float = 1.5
    """Deviation in standard deviations from which its cost grows linearly."""
    pause: float = 6.0
    """Transition: cost of stopping for any time; a smaller lateness costs less."""
    hurry: float = 7.0
    """Transition: cost of coming in early by any time; a smaller one costs less."""
    back: float = 9.0
    """Transition: cost of going back to any earlier step."""
    back_step: float = 0.03
    """Cost of each step that is gone back over: of two ways back, the shorter."""
    back_to_bar: float = 1.5
    """That cost is less by this where the step begins a bar, and once more where it is the first
    of the drill."""
    leap: float = 9.0
    """Transition: cost of leaping ahead over steps, with no regard to time."""
    leap_step: float = 0.1
    """Cost of each step that is leapt over."""
    break_off: float = 6.0
    """Transition: cost of ending a try before the last step."""
    enter_late: float = 6.0
    """Transition: cost of beginning a try after the first step."""
    enter_step: float = 0.25
    """Cost of each step before the one with which a try begins."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TryParameters:
    """What is a try, a pass, or a remark; see :mod:`trainer.marking.free_performance`.

    All chosen by hand.
    """

    min_pass: float = 0.7
    """Fraction of the steps from which a try is a pass."""
    min_found: float = 0.3
    """Fraction of the steps, right, from which the drill is found where no try is a pass."""
    min_gain: float = 0.2
    """Further fraction of the steps that must be right at another pitch for it to be that one."""
    min_right: float = 0.5
    """Fraction of right notes among those of a try, from which it is one."""
    min_notes: int = 3
    """Fewest right notes of a false start, or of a repeated passage, that is mentioned."""
    margin_s: float = 0.12
    """Time in seconds before a note from which readings belong to it."""
    tail_s: float = 0.6
    """Time in seconds for which a pass still listens after its last note."""
    tempo_fraction: float = 0.025
    """Relative distance from the written tempo from which it is mentioned."""
    drift_fraction: float = 0.07
    """Relative change of tempo, first third to last third, from which it is mentioned."""
    stop_s: float = 0.25
    """Shortest stop in seconds that is mentioned."""
    off_cents: float = 12.0
    """Distance in cents of the whole from its pitch from which it is mentioned."""
    alike_cents: float = 12.0
    """Distance in cents from the median within which a note shares it."""
    alike_fraction: float = 0.7
    """Fraction of the notes that must share it."""
    min_tuning_notes: int = 6
    """Fewest notes that show the pitch of the whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveParameters:
    """Following a player while they play; see :mod:`trainer.marking.live_follower`.

    All chosen by hand.
    """

    notes: int = 10
    """Number of the last notes that show the player's beat."""
    end_s: float = 2.0
    """Silence in seconds after the last step that ends a take."""
    longest_s: float = 600.0
    """Longest take in seconds: its readings are kept, some 15 megabytes a minute."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TempoFitParameters:
    """How a tempo curve is fitted; see :mod:`trainer.marking.tempo_fit`.

    All chosen by hand; the two knees on the families "walks" and "sections" of performances
    (``benchmarks/free_performances.py``), seeds below 200.
    """

    onset_s: float = 0.015
    """Scatter of a player's onsets in seconds: the unit of residuals."""
    change: float = 0.02
    """Usual change of the tempo from beat to beat, as a fraction. Chosen on the family "walks" of
    ``benchmarks/homework.py``: 0.008 followed its sway too slowly."""
    change_knee: float = 1.4
    """Change of the tempo, in usual changes, from which more of it costs little (Cauchy weights):
    a new section, or a ritardando."""
    knee: float = 2.0
    """Residual, in units, from which a note counts less (Cauchy weights)."""
    off_beat_weight: float = 0.1
    """Weight of a note off the beat relative to one on it: the beat carries the tempo."""
    jump_s: float = 0.15
    """Shortest stop in seconds that is one; what is shorter is unevenness."""
    jump_beats: float = 0.2
    """Shortest stop in beats that is one."""
    jump_gain: float = 4.0
    """Least gain in cost for which a stop is assumed."""
    iterations: int = 12
    """Iterations of reweighted least squares."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveParameters:
    """How figures earn points; see :mod:`trainer.marking.criteria`.

    85 points mark the bound that common practice sets, 50 points the bound of what is recognisable;
    the other points are chosen by hand. Distances in tolerances are multiples of the drill's
    tolerance in cents.
    """

    just_tolerances: float = 0.2
    """Deviation from the target in tolerances that costs nothing. Chosen by hand."""
    far_tolerances: float = 4.0
    """Deviation in tolerances that earns nothing. With 12 cents, a bend is in tune within 12 cents
    and recognisable, with 50 points, within 24 (common practice)."""
    far_cents: float = 50.0
    """The same in cents, if that is less: half a half step, from where another note is nearer."""
    pull: float = 0.25
    """Fraction of the standard deviation of a held pitch by which a wobble may move its mean. Of a
    note of one and a half periods it is 0.24 by the Hann window's transfer function, of longer ones
    less."""
    wobble: Curve = ((0.2, 100.0), (0.5, 85.0), (1.25, 50.0), (2.5, 0.0))
    """Standard deviation of the held pitch, in tolerances. Chosen by hand."""
    drift: Curve = ((0.5, 100.0), (1.0, 85.0), (2.5, 50.0), (5.0, 0.0))
    """Change of the held pitch, in tolerances. Chosen by hand."""
    scoop: Curve = ((1.0, 100.0), (2.5, 70.0), (10.0, 0.0))
    """Scoop and detour in tolerances; stray distance in its own unit. Chosen by hand."""
    settle_ms: Curve = ((100.0, 100.0), (150.0, 85.0), (300.0, 50.0), (600.0, 0.0))
    """Settling time in milliseconds. Natural reeds take up to 100 ms. Chosen by hand."""
    slide_fraction: Curve = ((0.0, 0.0), (1.0, 100.0))
    """Fraction of the sounds on a slide's way that were heard."""
    vibrato_rate: Curve = ((0.15, 100.0), (0.3, 85.0), (0.6, 50.0), (1.2, 0.0))
    """Octaves between the vibrato's rate and the wanted rate. Chosen by hand."""
    vibrato_depth: Curve = ((0.3, 100.0), (0.6, 85.0), (1.0, 50.0), (2.0, 0.0))
    """Octaves between the vibrato's depth and the wanted depth. Chosen by hand."""
    shake_rate: Curve = ((0.15, 100.0), (0.3, 85.0), (0.6, 50.0), (1.2, 0.0))
    """Octaves between the shake's rate and the wanted rate. Chosen by hand, as for vibrato."""
    shake_fraction: Curve = ((0.12, 100.0), (0.18, 85.0), (0.27, 50.0), (0.4, 0.0))
    """Distance from one half of the fraction of a shake on one of its sounds. One sound is twice as
    long as the other at 0.17, three times at 0.25. Chosen by hand."""
    shake_spread: Curve = ((0.15, 100.0), (0.25, 85.0), (0.5, 50.0), (1.0, 0.0))
    """Relative spread of a shake's cycles. Chosen by hand."""
    shake_db: Curve = ((6.0, 100.0), (9.0, 85.0), (14.0, 50.0), (24.0, 0.0))
    """Difference in level between the sounds of a shake, in dB. Reeds of a harp differ by some dB
    in any case. Chosen by hand."""
    inflection_cents: Curve = ((0.4, 100.0), (0.6, 85.0), (1.0, 50.0), (2.0, 0.0))
    """Octaves between the depth of a scoop, dip or fall and the wanted depth. Chosen by hand."""
    onset_cents: float = 50.0
    """Cents by which a dip or scoop may be deeper than asked: natural reeds themselves rise from 20
    to 100 cents flat. Chosen by hand, after drills rendered with one font."""
    inflection_ms: Curve = ((0.6, 100.0), (0.9, 85.0), (1.5, 50.0), (3.0, 0.0))
    """The same of its duration, which ears judge less finely. Chosen by hand."""
    grace_ms: Curve = ((120.0, 100.0), (160.0, 85.0), (250.0, 50.0), (400.0, 0.0))
    """Length of a grace note in milliseconds. Chosen by hand: crushed in, up to 120 ms."""
    leak_db: Curve = ((-40.0, 100.0), (-24.0, 85.0), (-12.0, 50.0), (0.0, 0.0))
    """Level of a leak in dB relative to the wanted hole. Chosen by hand."""

    held: Curve = ((0.1, 0.0), (0.25, 50.0), (0.4, 85.0), (0.5, 100.0))
    """Fraction of its written length for which a note is held. Half is common practice for the
    shortest: less is a staccato that nobody asked for."""
    staccato: Curve = ((0.55, 100.0), (0.65, 85.0), (0.75, 50.0), (0.9, 0.0))
    """The same of a staccato note, which is held for half its length or less (common practice)."""
    tongued_db: Curve = ((1.0, 0.0), (2.5, 50.0), (4.0, 85.0), (5.0, 100.0))
    """Fall of the level in dB before a tongued note. A tongue that stops the air on recorded reeds
    makes one of 5 dB or more (:mod:`trainer.ear.level_gate`); 1 dB is just noticeable."""
    legato_ms: Curve = ((20.0, 100.0), (35.0, 85.0), (60.0, 50.0), (120.0, 0.0))
    """Gap in milliseconds after a legato note. Chosen by hand."""
    accent_db: Curve = ((0.0, 0.0), (1.0, 30.0), (2.0, 70.0), (3.0, 100.0))
    """Level in dB of an accented note relative to its neighbours. The just noticeable difference in
    level is about 1 dB (Fastl and Zwicker, Psychoacoustics, chapter 7; from memory)."""
    swell: Curve = ((0.0, 0.0), (0.25, 40.0), (0.5, 75.0), (0.75, 100.0), (2.0, 100.0), (4.0, 50.0))
    """Change of level of a swell or fade, relative to the wanted one. Chosen by hand."""
    hand_depth: Curve = ((1.0, 100.0), (1.3, 85.0), (1.8, 50.0), (2.5, 0.0))
    """Octaves between the depth of hand vibrato in dB and the wanted depth. A room of 0.4 s takes
    up to half of it at 5 Hz. Chosen by hand."""
    wah_db: Curve = ((1.0, 0.0), (1.7, 50.0), (2.4, 85.0), (3.0, 100.0))
    """Depth of a wah in dB. Hands that close well take off 6 dB (common practice), of which a room
    leaves half."""

    just_beats: float = 0.025
    """Lateness in beats that costs nothing: the just noticeable difference in a steady beat
    (Friberg and Sundberg 1995, JASA 98)."""
    min_just_ms: float = 10.0
    """The same for short beats, in milliseconds (same source)."""
    max_just_lost: float = 0.1
    """Greatest fraction of `lost` that costs nothing. Chosen by hand."""
    lost_beats: float = 1.0 / 3.0
    """Lateness in beats that earns nothing: there, a note belongs as much to the next division of
    the beat. Chosen by hand."""
    max_lost_ms: float = 250.0
    """The same for long beats, in milliseconds. Chosen by hand."""
    stray_unit: float = 0.2
    """Fraction of a glide's path that is the unit of its stray distance, if it is more than the
    tolerance. Chosen by hand, so that a jump gets 70 points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreParameters:
    """How points make a score; see :mod:`trainer.marking.score`. All chosen by hand."""

    max_above_worst: float = 50.0
    """Points that a score may lie above its worst criterion, or above the worst rung."""
    beside_weight: float = 0.2
    """Greatest fraction of a pass's score that everything beside its aims can cost."""
    least_held: float = 0.5
    """Fraction of its score that a note has that is only touched."""
    held_points: float = 50.0
    """Points for the length held from which a note counts in full; below, the score shrinks in
    proportion. They are reached by a quarter of the written length."""
    right_pitch: float = 50.0
    """Points for pitch from which a note is the right one; below, the score shrinks in
    proportion."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SentenceParameters:
    """What a sentence mentions; see :mod:`trainer.marking.sentence`.

    Chosen by hand unless the field says otherwise.
    """

    max_clauses: int = 3
    """Most clauses in a sentence."""
    fault_points: float = 85.0
    """Points below which a criterion is a fault, 0 to 100: the bound of common practice on each
    curve."""
    perfect_points: float = 97.0
    """Points below which a criterion's figure is shown though it is no fault."""
    bent_cents: float = 20.0
    """A natural note flatter than this in cents is usually bent by accident (common practice)."""
    sag_cents: float = 12.0
    """Draw 2 or 3 flatter than this in cents sags by too much breath (common practice)."""
    max_off_cents: float = 75.0
    """Deviation in cents beyond which a pitch is not the note that was heard: what is nearer to
    another half step is another note."""
    max_scoop_cents: float = 200.0
    """Scoop in cents beyond which the note came from another one: few players scoop by more."""
    max_way_cents: float = 200.0
    """Distance in cents beyond which a glide is not called by a figure."""
    as_loud_db: float = 0.5
    """Distance in dB within which a leak is as loud as the note."""
    scoop_cents: float = 25.0
    """Scoop in cents from which a slow attack is called a scoop."""
    min_inflection_cents: float = 15.0
    """Depth in cents below which no scoop, dip or fall is heard: reeds themselves rise so far."""
    max_wobble_cents: float = 80.0
    """Wobble in cents beyond which no note was held: a player wobbles by less."""
    max_drift_cents: float = 150.0
    """Drift in cents beyond which no note was held."""
    max_late_beats: float = 1.5
    """Lateness in beats from which it is given in beats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HabitParameters:
    """What many notes must share to be a habit; see :mod:`trainer.marking.habits`.

    Chosen by hand unless the field says otherwise.
    """

    min_notes: int = 2
    """Fewest notes that show a habit, where at least as many could."""
    min_fraction: float = 0.5
    """Least fraction of the notes that could show a habit and do."""
    min_wrong: int = 2
    """Fewest wrong or missing notes of one kind that are a habit."""
    min_all_notes: int = 4
    """Fewest notes from which something is common to all notes."""
    min_different_notes: int = 3
    """Fewest different natural notes from which the harp's tuning is judged."""
    alike_cents: float = 8.0
    """Distance in cents from the median within which notes are off alike: a harp's own reeds differ
    by some cents."""
    alike_fraction: float = 0.8
    """Least fraction of the notes that are off alike."""
    all_off_cents: float = 8.0
    """Least common deviation in cents that is named."""
    alike_ms: float = 35.0
    """Distance in milliseconds from the median within which notes are late alike."""
    all_late_ms: float = 40.0
    """Least common lateness in milliseconds that is named."""
    common_late_points: float = 85.0
    """Points of a lateness that nearly all notes share below which each is judged against it: those
    of a note that is just in time."""
    min_trend_notes: int = 9
    """Fewest notes from which rushing and dragging are judged."""
    trend_ms: float = 120.0
    """Change of lateness in milliseconds, from the first third of a pass to its last, that is
    rushing or dragging."""
    late_ms: float = 30.0
    """Least lateness in milliseconds that is a fault."""
    late_beats: float = 0.06
    """The same in beats, if that is more."""
    settle_ms: float = 150.0
    """Settling time in milliseconds that is a fault."""
    vibrato_ratio: float = 0.25
    """Relative deviation of a vibrato's rate that is a fault."""
    vibrato_depth_ratio: float = 0.5
    """Relative deviation of a vibrato's depth that is a fault."""
    shake_octaves: float = 0.3
    """Octaves between a shake's rate and the wanted one that are a fault."""
    shake_lean: float = 0.18
    """Distance from half of the time on the upper hole of a shake that is a fault."""
    shake_spread: float = 0.25
    """Relative spread of a shake's cycles that is a fault."""
    shake_db: float = 9.0
    """Difference in level between the holes of a shake in dB that is a fault."""
    depth_octaves: float = 0.6
    """Octaves between the depth of a scoop or fall and the wanted one that are a fault."""
    length_octaves: float = 0.9
    """The same of its length."""
    grace_ms: float = 160.0
    """Length of a grace note in milliseconds that is a fault."""
    wah_db: float = 2.4
    """Depth of a wah in dB below which it is a fault."""
    missing_percent: float = 60.0
    """Percentage of its length by which a note is cut short that is a fault."""
    staccato_percent: float = 65.0
    """Percentage of its length for which a staccato note is held that is a fault."""
    separation_db: float = 4.0
    """Fall of the level in dB before a tongued note below which it is a fault."""
    gap_ms: float = 35.0
    """Gap in milliseconds after a legato note that is a fault."""
    accent_db: float = 2.0
    """Level in dB of an accented note over its neighbours below which it is a fault."""
    swell_missing: float = 0.5
    """Missing fraction of a swell or fade that is a fault."""
    stray_cents: float = 40.0
    """Least stray distance of a glide in cents that is a fault."""
    swing_slack: float = 0.4
    """Distance from the straight place, relative to the swing, within which an off-beat is played
    straight."""
    leak_db: float = -24.0
    """Level of a leak in dB relative to the wanted hole that is a fault."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoloParameters:
    """Constants of the marking of solos; see :mod:`trainer.marking.solo_criteria`.

    All chosen by hand, on no performances: they say what a teacher would ask for, in numbers.
    Curves go through (figure, points).
    """

    early_beats: float = 0.25
    """Time in beats by which a note may begin before its solo, and from which before the end of the
    solo it belongs to the written note that follows."""
    split_s: float = 0.08
    """Shortest time in seconds for which another pitch of the same hole is a note of its own: a
    bend let up."""
    settling_s: float = 0.12
    """Time in seconds at the start of a note in which its pitch may still rise: natural reeds start
    flat for up to 100 ms."""
    ornament_s: float = 0.09
    """Length in seconds below which a note is an ornament, whose pitch is not judged."""
    wanted_notes_per_bar: float = 1.5
    """Notes for each bar from which enough was played to be judged in full."""
    strong_beats_per_bar: float = 0.5
    """Strong beats with a note, for each bar, from which harmony is judged in full."""
    anticipation_beats: float = 0.35
    """Time in beats about a strong beat within which a note begins on it."""
    off_scale: Curve = ((0.05, 100.0), (0.15, 80.0), (0.3, 50.0), (0.6, 0.0))
    """Fraction of the notes outside the scale. Notes drawn at random from all twelve would be half
    off a scale of six."""
    chord_notes: Curve = ((0.2, 0.0), (0.5, 50.0), (0.75, 100.0))
    """Fraction of the strong beats on which a note of the chord sounds. About half of them do by
    chance."""
    forgiven_points: float = 85.0
    """Points for the pitch of a bend that may be out of tune: those of one at the tolerance."""
    lost_grid: float = 0.5
    """Distance from the nearest part of a beat, relative to the distance of two parts, at which
    time is lost: the next part is as near."""
    min_phrase_notes: int = 3
    """Fewest notes of a phrase."""
    min_phrase_bars: float = 0.25
    """Shortest phrase in bars."""
    slack_beats: float = 0.25
    """Time in beats by which a phrase may exceed its limit, and a rest fall short of its own."""
    phrased: Curve = ((0.0, 0.0), (0.5, 40.0), (0.9, 100.0))
    """Mean fit of the phrases, weighted by their notes."""
    wanted_phrases: float = 0.5
    """Phrases for each longest phrase that the solo has room for, from which there are enough."""
    range_fraction: Curve = ((0.2, 0.0), (0.6, 50.0), (1.0, 100.0))
    """Range relative to the wanted one."""
    effective_notes: Curve = ((1.0, 0.0), (2.0, 50.0), (3.0, 100.0))
    """Effective number of different notes."""
    context: int = 4
    """Notes before a note that, with it, must have occurred before for it to be a repetition."""
    same_phrase: float = 0.8
    """Similarity of two phrases, 0 to 1, from which one repeats the other."""
    repeated_phrases: Curve = ((0.5, 100.0), (0.75, 50.0), (1.0, 0.0))
    """Fraction of the phrases after the first that repeat an earlier one. Two lines alike and a
    third that answers them have half (common practice)."""
    repeated_notes: Curve = ((0.45, 100.0), (0.65, 50.0), (0.85, 0.0))
    """Fraction of the notes that are repetitions."""
    run_notes: int = 4
    """Fewest notes, each on the next degree of the scale in one direction, that are a run."""
    in_runs: Curve = ((0.5, 100.0), (0.7, 50.0), (0.9, 0.0))
    """Fraction of the notes that are in runs."""


FOLLOWER = FollowerParameters()
ONSET = OnsetParameters()
ARTICULATION = ArticulationParameters()
LOUDNESS = LoudnessParameters()
MEASUREMENT = MeasurementParameters()
SOUNDING_HOLES = SoundingHolesParameters()
SPLITS = SplitParameters()
EXTRA_NOTES = ExtraNoteParameters()
MARKER = MarkerParameters()
FREE_CLOCK = FreeClockParameters()
PASS_SEARCH = PassSearchParameters()
ALIGNMENT = AlignmentParameters()
TRIES = TryParameters()
LIVE = LiveParameters()
TEMPO_FIT = TempoFitParameters()
CURVES = CurveParameters()
SCORE = ScoreParameters()
SENTENCE = SentenceParameters()
HABITS = HabitParameters()
SOLO = SoloParameters()
