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
from server.physics.statistics.use import time_to_count_s, time_to_limit_s

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
    "time_to_count_s",
    "time_to_limit_s",
    "together",
    "weight_for_gap",
]
