"""Heat in a cryostat: a mechanism a file."""

from server.physics.thermal.gas import (
    GasConstants,
    accommodation,
    combined_accommodation,
    free_molecular_conductance_W_m2_K_Pa,
    free_molecular_W_m2,
    gas_named,
    gas_W_m2,
    gases,
    knudsen_number,
    mean_free_path_m,
    pressure_where_cold_Pa,
    remaining_gases,
)
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
    "GasConstants",
    "STEFAN_BOLTZMANN_W_m2_K4",
    "accommodation",
    "blackbody_fraction",
    "combined_accommodation",
    "disc_view_factor",
    "emissive_power_W_m2",
    "emissivity",
    "finish",
    "finishes",
    "free_molecular_W_m2",
    "free_molecular_conductance_W_m2_K_Pa",
    "gas_W_m2",
    "gas_named",
    "gases",
    "grey_exchange_factor",
    "knudsen_number",
    "mean_free_path_m",
    "pressure_where_cold_Pa",
    "radiated_W",
    "remaining_gases",
    "shield_exchange_factor",
]
