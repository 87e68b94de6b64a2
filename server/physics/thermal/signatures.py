"""What each suspect does to the witnesses, as a curve over its size."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.physics.errors import Unphysical
from server.physics.materials.arrays import Array
from server.physics.thermal.batch import temperatures
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.elements import Element
from server.physics.thermal.suspects import DIRECT, Suspect, direct, scale, varied

SOLVED = 21
"""Sizes at which the balance is solved for each suspect."""
USUAL_PRESSURE_Pa = 3e-5
"""What a gauge reads in a good cold vacuum (common practice, no source)."""
KNEE_K = 1e-3
"""Shifts above this are drawn straight in their logarithm, as a power of the size, below it straight."""
NOWHERE = 1e6
"""Stands for a shift that the balance cannot give: no reading agrees with it."""


@dataclass(frozen=True, eq=False)
class Curve:
    """The shifts of one suspect: `log_sizes` (sizes,), `shifts` (sizes, witnesses) in each witness's unit."""

    suspect: Suspect
    log_sizes: Array
    shifts: Array

    def at(self, log_sizes: Array) -> Array:
        """Shifts at other sizes: (…, witnesses)."""
        bent = np.arcsinh(self.shifts / KNEE_K)
        drawn = [np.interp(log_sizes, self.log_sizes, column) for column in bent.T]
        return np.asarray(np.sinh(np.stack(drawn, axis=-1)) * KNEE_K)


def expected_at(cryostat: Cryostat, elements: Sequence[Element], names: Sequence[str]) -> dict[str, float]:
    """What each witness reads when nothing is wrong; Unphysical where the balance does not say."""
    [found] = temperatures(cryostat, [elements])
    missing = [name for name in names if name not in DIRECT and name not in found]
    if missing:
        raise Unphysical(f"Nothing can be compared at {', '.join(missing)}: the balance says nothing there.")
    return {name: 0.0 if name in DIRECT else found[name] for name in names}


def curves(
    cryostat: Cryostat, elements: Sequence[Element], found: Sequence[Suspect], names: Sequence[str]
) -> list[Curve]:
    """One curve a suspect, all solved at once."""
    sizes = [scale(one, SOLVED) for one in found]
    builds = [varied(elements, one, size) for one, many in zip(found, sizes, strict=True) for size in many]
    rows = shifts_of(cryostat, elements, builds, names)
    made, start = [], 0
    for one, many in zip(found, sizes, strict=True):
        block = rows[start : start + len(many)] + _direct(one, many, names)
        made.append(Curve(one, np.log(np.array(many)), block))
        start += len(many)
    return made


def shifts_of(
    cryostat: Cryostat,
    elements: Sequence[Element],
    builds: Sequence[Sequence[Element]],
    names: Sequence[str],
) -> Array:
    """What each build changes by way of the balance: (builds, witnesses), zero for what is no temperature."""
    base, *others = temperatures(cryostat, [elements, *builds])
    rows = np.zeros((len(others), len(names)))
    for column, name in enumerate(names):
        if name not in DIRECT:
            rows[:, column] = [one.get(name, math.nan) - base[name] for one in others]
    return np.where(np.isfinite(rows), rows, NOWHERE)


def direct_of(suspect: Suspect, log_size: float, names: Sequence[str]) -> Array:
    """What a cause does to readings by another way than the balance."""
    return np.array([direct(suspect, math.exp(log_size), name, USUAL_PRESSURE_Pa) for name in names])


def _direct(suspect: Suspect, sizes: Sequence[float], names: Sequence[str]) -> Array:
    return np.array([[direct(suspect, size, name, USUAL_PRESSURE_Pa) for name in names] for size in sizes])
