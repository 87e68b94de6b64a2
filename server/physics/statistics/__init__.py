"""Numbers with their uncertainty, control charts and forecasts."""

from server.physics.statistics.bands import Band, Quantity, together
from server.physics.statistics.charts import (
    CumulativeSums,
    MovingAverage,
    cumulative_sums,
    moving_average,
    weight_for_gap,
)
from server.physics.statistics.drift import Separated, Sizes, Witness, separate

__all__ = [
    "Band",
    "CumulativeSums",
    "MovingAverage",
    "Quantity",
    "Separated",
    "Sizes",
    "Witness",
    "cumulative_sums",
    "moving_average",
    "separate",
    "together",
    "weight_for_gap",
]
