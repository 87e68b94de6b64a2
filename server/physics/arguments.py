"""What a law of physics asks of its arguments, and the kind of answer it gives: said once for all of them.

Every check takes arguments by name, numbers or arrays, and raises `Unphysical` with a sentence that begins
with that name, so that a page can put it beside the field.
"""

import numpy as np
from numpy.typing import NDArray

from server.physics.errors import Unphysical

Value = float | NDArray[np.float64]


def check_finite(**values: Value) -> None:
    """Raise `Unphysical` for the first argument that is not a finite number."""
    for name, value in values.items():
        if not np.all(np.isfinite(value)):
            raise Unphysical(f"{name} must be a finite number.")


def check_positive(**values: Value) -> None:
    """Raise `Unphysical` for the first argument that is not finite and above zero."""
    for name, value in values.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) > 0.0)):
            raise Unphysical(f"{name} must be a finite number above zero.")


def check_not_negative(**values: Value) -> None:
    """Raise `Unphysical` for the first argument that is not finite and zero or above."""
    for name, value in values.items():
        if not np.all(np.isfinite(value) & (np.asarray(value) >= 0.0)):
            raise Unphysical(f"{name} must be a finite number, zero or above.")


def check_fraction(**values: Value) -> None:
    """Raise `Unphysical` for the first argument that is not above zero and at most one."""
    for name, value in values.items():
        if not np.all((np.asarray(value) > 0.0) & (np.asarray(value) <= 1.0)):
            raise Unphysical(f"{name} must be above 0 and at most 1.")


def check_count(**values: int) -> None:
    """Raise `Unphysical` for the first argument that is not a whole number, one or above."""
    for name, value in values.items():
        if not float(value).is_integer() or value < 1:
            raise Unphysical(f"{name} must be a whole number, one or above.")


def in_kind(result: NDArray[np.float64] | np.float64) -> Value:
    """A plain float for a single number, the array itself for an array."""
    return float(result) if np.ndim(result) == 0 else np.asarray(result)
