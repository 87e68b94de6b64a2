"""Why a lag does not rescue copper: how much of a run's heat its lags let through."""

from dataclasses import replace

import numpy as np

from server.physics.thermal.compile import compiled_plainly
from server.physics.thermal.recipe import INDEX, Place
from server.physics.thermal.runs import Run
from server.physics.thermal.system import alone_W

HARDLY_HELPS = 0.5
"""A lag that lets this part of the unlagged heat on to the cold end hardly helps."""

LAG_HARDLY_HELPS = "Copper, even lagged: the lag hardly helps, since copper conducts best when cold."


def lag_hardly_helps(run: Run, place: Place) -> bool:
    """Whether the cold end of a run gets more than half of what it would get without any lag."""
    if all(lag.state == "none" for lag in run.lags):
        return False
    T_K, end = np.array(place.temperatures_K), INDEX[run.ends_on]
    lagged_W, unlagged_W = (
        alone_W(compiled_plainly(one, place), T_K)[end] for one in (run, replace(run, lags=()))
    )
    return bool(lagged_W > HARDLY_HELPS * unlagged_W)
