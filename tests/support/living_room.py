"""A modelled living room: what a microphone at some distance records of a dry sound.

Image-source model of a box (Kuttruff, Room Acoustics; from memory): 5.0 x 4.0 x 2.5 m, its walls
alike, reverberation time 0.5 s by Eyring's formula: a furnished room. Reflections are followed for
 0.35 s, where they are 42 dB down. Nothing here knows of the ear or of the marks.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import signal

from trainer.core.types import Floats

SIZE_M = (5.0, 4.0, 2.5)
RT60_S = 0.5
LENGTH_S = 0.35
SPEED_M_S = 343.0
PLAYER_M = (1.9, 2.3, 1.3)
"""Place of the harp: a mouth of somebody sitting, away from the middle of the room."""
DIRECTION = (0.8, -0.55, -0.24)
"""Direction from the harp to the microphone, a unit vector."""


def in_living_room(samples: Floats, rate: int, distance_m: float = 1.2) -> Floats:
    """The sound at a microphone in the room, delayed by nothing and at the level of the dry sound.

    Args:
        samples: the dry sound, shape (n,).
        rate: sample rate in hertz.
        distance_m: distance of the microphone in metres.
    """
    heard = signal.fftconvolve(samples, _impulse_response(rate, distance_m))[: len(samples)]
    return np.asarray(heard * np.sqrt(np.mean(samples**2) / np.mean(heard**2)))


def _impulse_response(rate: int, distance_m: float) -> Floats:
    """The room's impulse response from the arrival of the direct sound on."""
    volume = math.prod(SIZE_M)
    x, y, z = SIZE_M
    surface = 2.0 * (x * y + y * z + x * z)
    reflection = math.exp(-0.161 * volume / (2.0 * surface * RT60_S))
    reach = SPEED_M_S * LENGTH_S + distance_m
    squares, orders = [np.zeros(1)], [np.zeros(1, np.int64)]
    for size, player, towards in zip(SIZE_M, PLAYER_M, DIRECTION, strict=True):
        n = np.arange(-math.ceil(reach / (2.0 * size)), math.ceil(reach / (2.0 * size)) + 1)
        microphone = player + distance_m * towards
        places = np.concatenate([player + 2.0 * n * size, -player + 2.0 * n * size])
        order = np.concatenate([2 * np.abs(n), np.abs(n - 1) + np.abs(n)])
        squares.append((places - microphone) ** 2)
        orders.append(order)
    square = squares[1][:, None, None] + squares[2][None, :, None] + squares[3][None, None, :]
    order = orders[1][:, None, None] + orders[2][None, :, None] + orders[3][None, None, :]
    metres = np.sqrt(square).ravel()
    near = metres < reach
    at = np.rint((metres[near] - metres.min()) / SPEED_M_S * rate).astype(np.int64)
    response = np.zeros(round(LENGTH_S * rate) + 1)
    np.add.at(
        response,
        np.minimum(at, len(response) - 1),
        reflection ** order.ravel()[near] / metres[near],
    )
    return np.asarray(response / response[0])
