"""A simulation of one hole of a harmonica: two reeds in a chamber, driven by a player's mouth.

It is the reference for the voice of the built-in player (`devtools/voice_table.py` makes its table
from it), and too slow to be played. docs/dev/voice.md has the model, its sources, and what
was chosen by hand.

Conventions. SI units. Draw notes are mirrored to blow notes: the pressure in the chamber is
positive, the *closing* reed is the one that it pushes into its slot (the blow reed of a blow note),
the *opening* reed the one that it pushes away from its slot. Many cases are computed at once:
every quantity of a case is an element of an array of shape (n,).

The equations, with h the height of a reed's tip above its slot, p the overpressure in the chamber,
and s = -1 for the closing reed, +1 for the opening reed:

- reed: h'' + (ω/Q) h' + ω² (h - gap) = s p S / m
- slot: u = C_d A(h) sqrt(2 p / ρ) (Bernoulli), A the area between tongue and slot, which a tongue
  opens again once its tip has passed through the plate
- chamber: (V / ρc²) p' = u_hole - Σ u - Σ s S h'
- hole: M u_hole' = p_lungs - p_tract - R u_hole - p
- mouth: one resonance of the vocal tract, as a parallel circuit between lungs and hole

A closing reed sounds where its load is an inertance, an opening reed where it is a compliance
(Fletcher 1993, JASA 93(4), for pressure-controlled valves). With the resonance of the mouth tuned
between the pitches of two reeds whose higher one closes, both take part: a bend (Johnston 1987).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Floats

AIR_DENSITY = 1.15
"""Density of warm breath in kg/m³."""
SOUND_SPEED = 350.0
"""Speed of sound in warm breath in m/s."""
BRASS_DENSITY = 8_500.0
"""Density of brass in kg/m³ (handbooks)."""
TIP_MASS, TIP_AREA = 0.25, 0.392
"""Modal mass and area of a uniform clamped-free bar's first mode, referred to its tip and relative
to the whole bar (beam theory, such as Fletcher and Rossing, The Physics of Musical Instruments)."""


@dataclass(frozen=True, slots=True)
class ReedModelParameters:
    """Constants of the model. Chosen by hand unless stated otherwise."""

    lengths_mm: tuple[tuple[float, float], ...] = (
        (80.0, 18.0), (200.0, 16.0), (400.0, 14.0), (800.0, 11.5), (1600.0, 9.5), (3200.0, 8.0),
    )  # fmt: skip
    """Length of a tongue by its pitch: pairs of hertz and millimetres."""
    thicknesses_mm: tuple[tuple[float, float], ...] = (
        (80.0, 0.45), (150.0, 0.26), (200.0, 0.20), (400.0, 0.15), (800.0, 0.13), (1600.0, 0.11),
        (3200.0, 0.10),
    )  # fmt: skip
    """Thickness of a uniform tongue of the same modal mass, same form: low tongues carry a
    weight at their tip, high ones are thinned there."""
    widths_mm: tuple[tuple[float, float], ...] = ((80.0, 2.4), (400.0, 2.1), (3200.0, 1.8))
    """Width of a tongue, same form."""
    gaps_mm: tuple[tuple[float, float], ...] = ((80.0, 0.50), (400.0, 0.25), (3200.0, 0.06))
    """Height of a tongue's tip above the plate at rest, same form."""
    clearance_mm: float = 0.03
    """Clearance between tongue and slot in millimetres."""
    plate_mm: float = 0.9
    """Thickness of the plate in millimetres."""
    q: float = 130.0
    """Quality factor of a tongue in still air."""
    contraction: float = 0.61
    """Contraction of a jet behind a sharp edge (Kirchhoff's value for a slit)."""
    chamber_cm3: tuple[tuple[float, float], ...] = ((80.0, 0.6), (400.0, 0.45), (3200.0, 0.12))
    """Volume of the chamber by the pitch of the closing reed: pairs of hertz and cm³."""
    hole_inertance: float = 800.0
    """Inertance of hole and lips in kg/m⁴: about 12 mm of air 4 mm by 5 mm wide."""
    hole_resistance: float = 2e5
    """Resistance of hole and lips in Pa s/m³."""
    tract_inertance: float = 800.0
    """Inertance of the mouth's resonance at low frequencies in kg/m⁴."""
    tract_q: float = 7.0
    """Quality factor of the mouth's resonance."""
    open_tract: float = 4.0
    """Pitch of the mouth's resonance in natural playing, relative to the note."""
    pressures_pa: tuple[tuple[float, float], ...] = (
        (80.0, 70.0), (200.0, 90.0), (400.0, 180.0), (800.0, 400.0), (1600.0, 700.0),
        (3200.0, 1000.0),
    )  # fmt: skip
    """Pressure of an ordinary note: pairs of hertz and Pa. Tongues then swing by 1 to 2 mm."""
    pressure_rise_s: float = 0.012
    """Time constant of the rise of the lungs' pressure at an attack, in seconds."""


PARAMETERS = ReedModelParameters()


def by_pitch(pairs: tuple[tuple[float, float], ...], hz: Floats) -> Floats:
    """Interpolate pairs of hertz and value over the logarithm of the pitch."""
    xs, values = zip(*pairs, strict=True)
    return np.asarray(np.interp(np.log(hz), np.log(xs), values))


@dataclass(frozen=True, slots=True)
class Tongue:
    """Reeds as the equations need them, one element for each case.

    Attributes:
        omega: angular frequency of the tongue alone, rad/s.
        mass: modal mass at the tip, kg.
        area: modal area at the tip, m².
        edge: length of the edge through which air flows, weighted by the mode's shape, m.
        gap: height of the tip at rest, m.
        leak: area of the clearance, m².
    """

    omega: Floats
    mass: Floats
    area: Floats
    edge: Floats
    gap: Floats
    leak: Floats

    @classmethod
    def of(cls, hz: Floats, parameters: ReedModelParameters = PARAMETERS) -> Tongue:
        """Return tongues by their pitch in hertz."""
        length = 1e-3 * by_pitch(parameters.lengths_mm, hz)
        width = 1e-3 * by_pitch(parameters.widths_mm, hz)
        thickness = 1e-3 * by_pitch(parameters.thicknesses_mm, hz)
        return cls(
            omega=2.0 * np.pi * hz,
            mass=TIP_MASS * BRASS_DENSITY * thickness * length * width,
            area=TIP_AREA * length * width,
            edge=width + 2.0 * TIP_AREA * length,
            gap=1e-3 * by_pitch(parameters.gaps_mm, hz),
            leak=1e-3 * parameters.clearance_mm * (width + 2.0 * length),
        )

    def opening(self, height: Floats, plate: float) -> Floats:
        """Return the area in m² through which air flows at a height of the tip in m."""
        above = self.edge * np.maximum(height, 0.0)
        below = self.edge * np.maximum(-height - plate, 0.0)
        return np.sqrt(self.leak**2 + above**2 + below**2)


@dataclass(frozen=True, slots=True)
class Blown:
    """What is played, one element for each case.

    Attributes:
        closing_hz, opening_hz: pitch of each tongue alone.
        pressure: that of the lungs once it has risen, in Pa.
        tract_hz: pitch of the mouth's resonance; see :func:`natural`.
    """

    closing_hz: Floats
    opening_hz: Floats
    pressure: Floats
    tract_hz: Floats


def natural(
    closing_hz: Floats, half_steps_below: float, pressure: Floats | float, open_tract: float = 0.0
) -> Blown:
    """Return natural notes: the mouth's resonance lies far above the note.

    Args:
        closing_hz: pitch of the closing reed.
        half_steps_below: how far the opening reed lies below it.
        pressure: in Pa.
        open_tract: pitch of the mouth's resonance relative to the note; 0 takes the usual one.
    """
    return Blown(
        closing_hz,
        closing_hz * 2.0 ** (-half_steps_below / 12.0),
        np.broadcast_to(np.asarray(pressure, dtype=float), closing_hz.shape),
        (open_tract or PARAMETERS.open_tract) * closing_hz,
    )


@dataclass(frozen=True, slots=True)
class Simulated:
    """The course of a simulation.

    Attributes:
        rate: samples per second of each case, shape (n,).
        outflow: volume flow out of the slots in m³/s, tongues' own motion included, shape (t, n).
        closing, opening: heights of the tips in m, shape (t, n).
        pressure: in the chamber, Pa, shape (t, n).
    """

    rate: Floats
    outflow: Floats
    closing: Floats
    opening: Floats
    pressure: Floats


def simulate(
    blown: Blown,
    seconds: float,
    parameters: ReedModelParameters = PARAMETERS,
    *,
    steps_per_period: int = 128,
    min_rate: float = 96_000.0,
    keep: int = 4,
) -> Simulated:
    """Integrate the equations from silence.

    Semi-implicit Euler steps for oscillators, and a linearly implicit one for the pressure of the
    chamber, whose flow through the slot is stiff at low pressure. Every case has a step of its own,
    so that all take as many steps; a high reed gets less time than `seconds` of the lowest.

    Args:
        blown: the cases.
        seconds: length for cases at `min_rate`; others are shorter in proportion.
        parameters: of the model.
        steps_per_period: least number of steps in a period of the closing reed.
        min_rate: least rate in steps per second.
        keep: one in how many steps is kept.
    """
    close, opens = Tongue.of(blown.closing_hz, parameters), Tongue.of(blown.opening_hz, parameters)
    rate = np.maximum(min_rate, steps_per_period * blown.closing_hz)
    dt = 1.0 / rate
    plate, damping = 1e-3 * parameters.plate_mm, 1.0 / parameters.q
    compliance = 1e-6 * by_pitch(parameters.chamber_cm3, blown.closing_hz)
    compliance /= AIR_DENSITY * SOUND_SPEED**2
    tract_omega = 2.0 * np.pi * blown.tract_hz
    tract_compliance = 1.0 / (parameters.tract_inertance * tract_omega**2)
    tract_conductance = tract_compliance * tract_omega / parameters.tract_q
    h1, h2 = close.gap.copy(), opens.gap.copy()
    v1, v2, p, hole, tract, slack = (np.zeros(h1.shape) for _ in range(6))
    count = round(seconds * min_rate)
    kept = np.zeros((4, count // keep + 1, len(h1)))
    jet = parameters.contraction * np.sqrt(2.0 / AIR_DENSITY)
    for step in range(count):
        lungs = blown.pressure * (1.0 - np.exp(-step * dt / parameters.pressure_rise_s))
        slack += dt * tract / parameters.tract_inertance
        tract += dt * (hole - tract_conductance * tract - slack) / tract_compliance
        hole += (
            dt * (lungs - tract - p - parameters.hole_resistance * hole) / parameters.hole_inertance
        )
        v1 += dt * (-close.omega * (close.omega * (h1 - close.gap) + damping * v1)
                    - p * close.area / close.mass)  # fmt: skip
        v2 += dt * (-opens.omega * (opens.omega * (h2 - opens.gap) + damping * v2)
                    + p * opens.area / opens.mass)  # fmt: skip
        h1 += dt * v1
        h2 += dt * v2
        moved = opens.area * v2 - close.area * v1
        conductance = jet * (close.opening(h1, plate) + opens.opening(h2, plate))
        conductance /= np.sqrt(np.abs(p) + 1.0)
        p = (compliance / dt * p + hole - moved) / (compliance / dt + conductance)
        if step % keep == 0:
            kept[:, step // keep] = conductance * p + moved, h1, h2, p
    outflow, closing, opening, pressure = kept[:, : (count + keep - 1) // keep]
    return Simulated(rate / keep, outflow, closing, opening, pressure)


def momentary(signal: Floats, rate: float, near_hz: float) -> tuple[Floats, Floats, Floats]:
    """Track the fundamental of a signal by heterodyning over three periods.

    Args:
        signal: shape (t,).
        rate: samples per second.
        near_hz: its fundamental, roughly.

    Returns:
        Times in seconds, frequency in hertz, and amplitude, all shape (m,).
    """
    length = round(3.0 * rate / near_hz)
    window = np.hanning(length + 2)[1:-1]
    turned = signal * np.exp(-2j * np.pi * near_hz / rate * np.arange(len(signal)))
    size = 1 << (len(signal) + length).bit_length()
    smooth = np.fft.ifft(np.fft.fft(turned, size) * np.fft.fft(window / window.sum(), size))
    base = smooth[length - 1 : len(signal)]
    hz = near_hz + np.diff(np.unwrap(np.angle(base))) * rate / (2.0 * np.pi)
    times = (np.arange(len(hz)) + length / 2.0) / rate
    return times, hz, 2.0 * np.abs(base[1:])


@dataclass(frozen=True, slots=True)
class Sounding:
    """What a simulated note has become at its end.

    Attributes:
        hz: its pitch; NaN where it does not sound.
        partials: complex amplitudes of the radiated pressure, that is of the change of the outflow,
            from the fundamental up, shape (k,), in m³/s².
        closing, opening: amplitudes of the tips in m.
    """

    hz: float
    partials: np.ndarray
    closing: float
    opening: float


def sounding(course: Simulated, case: int, near_hz: float, partials: int = 32) -> Sounding:
    """Analyse the last quarter of a case.

    Args:
        course: the simulation.
        case: which case.
        near_hz: rough pitch.
        partials: how many.
    """
    rate = float(course.rate[case])
    tail = slice(3 * len(course.outflow) // 4, None)
    flow, close, opens = (x[tail, case] for x in (course.outflow, course.closing, course.opening))
    swings = [float(0.5 * np.ptp(x)) for x in (close, opens)]
    window = np.hanning(len(flow))
    spectrum = np.abs(np.fft.rfft((close - opens - np.mean(close - opens)) * window, 1 << 19))
    bins = np.fft.rfftfreq(1 << 19, 1.0 / rate)
    inside = (bins > 0.4 * near_hz) & (bins < 1.8 * near_hz)
    hz = float(bins[inside][np.argmax(spectrum[inside])])
    _, track, _ = momentary(flow - np.mean(flow), rate, hz)
    hz = float(np.median(track))
    n = np.arange(len(flow))
    count = min(partials, int(0.45 * rate / hz))
    waves = np.exp(2j * np.pi * hz / rate * np.outer(n, np.arange(1, count + 1)))
    weights = window / window.sum()
    amplitudes = np.zeros(partials, complex)
    amplitudes[:count] = 2.0 * (weights * flow) @ np.conj(waves)
    amplitudes *= 2j * np.pi * hz * np.arange(1, partials + 1)
    return Sounding(hz, amplitudes, *swings)


def with_mouth(blown: Blown, tract_hz: Floats) -> Blown:
    """Return the same cases with another resonance of the mouth."""
    return replace(blown, tract_hz=tract_hz)
