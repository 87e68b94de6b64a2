"""Screws, springs and what they hold together when it is cold."""

from server.physics.mechanics.clamping import (
    Clamping,
    clampable,
    clamping_cold,
    clamping_left_N,
)
from server.physics.mechanics.discs import (
    disc_of_size,
    disc_sizes,
)
from server.physics.mechanics.screws import (
    ScrewCheck,
    check_screw,
    joint_stiffness_N_per_m,
    nut_factor,
    preload_N,
    screw_metals,
    screw_stiffness_N_per_m,
    threaded_metals,
    young_Pa,
)
from server.physics.mechanics.springs import (
    DiscSpring,
    DiscStack,
    disc_force_band_N,
    disc_spring_force_N,
    stack_force_N,
    stack_of,
)
from server.physics.mechanics.threads import Thread, stress_area_m2, strip_load_N, thread, threads

__all__ = [
    "Clamping",
    "DiscSpring",
    "DiscStack",
    "ScrewCheck",
    "Thread",
    "check_screw",
    "clampable",
    "clamping_cold",
    "clamping_left_N",
    "disc_force_band_N",
    "disc_of_size",
    "disc_sizes",
    "disc_spring_force_N",
    "joint_stiffness_N_per_m",
    "nut_factor",
    "preload_N",
    "screw_metals",
    "screw_stiffness_N_per_m",
    "stack_force_N",
    "stack_of",
    "stress_area_m2",
    "strip_load_N",
    "thread",
    "threaded_metals",
    "threads",
    "young_Pa",
]
