"""Heat in a cryostat: a mechanism a file."""

from server.physics.thermal.radiation import (
    STEFAN_BOLTZMANN_W_m2_K4,
    blackbody_fraction,
    emissive_power_W_m2,
    grey_exchange_factor,
    radiated_W,
    shield_exchange_factor,
)
from server.physics.thermal.surfaces import Finish, emissivity, finish, finishes
from server.physics.thermal.view import disc_view_factor

__all__ = [
    "Finish",
    "STEFAN_BOLTZMANN_W_m2_K4",
    "blackbody_fraction",
    "disc_view_factor",
    "emissive_power_W_m2",
    "emissivity",
    "finish",
    "finishes",
    "grey_exchange_factor",
    "radiated_W",
    "shield_exchange_factor",
]
