"""Names of array types that several rooms share.

A docstring gives the shape and the unit; the alias gives the kind of number.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
"""Audio samples in [-1, 1), single precision."""
Floats = NDArray[np.floating[Any]]
"""Real numbers, in double precision unless stated otherwise."""
Complexes = NDArray[np.complexfloating[Any, Any]]
"""Complex numbers, such as the bins of a spectrum."""
Ints = NDArray[np.int64]
"""Integers, such as indices."""
Bools = NDArray[np.bool_]
"""Truth values, such as masks."""
