"""The two types every part of this package speaks in."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Function = Callable[[Array], Array]
