"""The list of calculators: which function answers what, from where its lists come, what it begins with."""

from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from server.physics import mechanics
from server.physics.materials import awg_diameter_m, materials
from server.physics.thermal import (
    bench,
    blankets,
    gas,
    joints,
    lag,
    leads,
    openings,
    radiation,
    surfaces,
    thermometers,
    view,
    windows,
)
from server.physics.thermal.asking import Calculator

APERTURE_m2 = 4.909e-4
"""Area of a 25 mm port, with which many calculators begin [m²]."""


@cache
def calculators() -> tuple[Calculator, ...]:
    """Every calculator, in the order of the page.

    Returns
    -------
    tuple of Calculator
        Those of one heading stand together.

    Examples
    --------
    >>> calculators()[0].key
    'wire-gauge'
    """
    return (*_wires(), *_lags(), *_radiation(), *_gas(), *_joints(), *_screws(), *_springs(), *_cooling())


def calculator(key: str) -> Calculator:
    """The calculator at an address.

    Parameters
    ----------
    key : str
        Its part of the address.

    Returns
    -------
    Calculator
        The one.

    Raises
    ------
    KeyError
        When there is none.

    Examples
    --------
    >>> calculator("preload").function.__name__
    'preload_N'
    """
    return {one.key: one for one in calculators()}[key]


Maker = Callable[..., Calculator]


def _group(group: str) -> Maker:
    """A maker of calculators under one heading."""

    def make(
        key: str,
        title: str,
        function: Callable[..., Any],
        start: Mapping[str, object],
        cautions: tuple[str, ...] = (),
        **choices: tuple[str, ...],
    ) -> Calculator:
        return Calculator(key, title, group, function, start, choices, cautions)

    return make


def _wires() -> tuple[Calculator, ...]:
    make = _group("Wires and leads")
    wire = {"material": "phosphor-bronze", "diameter_m": 0.127e-3}
    lead = {"material": "copper-rrr-100", "current_A": 5.0, "cold_K": 40.0, "hot_K": 295.0}
    conductors = materials("resistivity")
    return (
        make("wire-gauge", "Diameter of a wire gauge", awg_diameter_m, {"gauge": "36"}),
        make("wire-area", "Cross section of a wire gauge", bench.awg_area_m2, {"gauge": "36"}),
        make(
            "wire-heat",
            "Heat through wires",
            bench.wire_heat_W,
            {**wire, "count": 24, "length_m": 0.30, "cold_K": 35.0, "hot_K": 295.0},
            material=materials("conductivity"),
        ),
        make(
            "wire-resistance",
            "Resistance of a wire",
            bench.wire_resistance_ohm,
            {**wire, "length_m": 0.45, "temperature_K": 295.0},
            material=conductors,
        ),
        make(
            "current-lead",
            "Heat of a lead that carries a current",
            leads.current_lead,
            {**lead, "length_over_area_per_m": 8e5},
            ("S09",),
            material=conductors,
        ),
        make(
            "optimum-lead",
            "Best shape of a lead for a current",
            leads.optimum_lead,
            lead,
            ("S09",),
            material=conductors,
        ),
    )


def _lags() -> tuple[Calculator, ...]:
    make = _group("Lags")
    run = {"material": "phosphor-bronze", "area_m2": 1.267e-8, "start_K": 295.0, "stage_K": 35.0}
    lists = {"material": materials("conductivity"), "filler": lag.lag_fillers()}
    only_material = {"material": materials("conductivity")}
    return (
        make(
            "lag-length",
            "Length of a lag in a filler",
            lag.estimated_lag_length_m,
            {**run, "filler": "varnish", "tolerance_K": 0.1},
            ("S11",),
            **lists,
        ),
        make(
            "lag-leaving",
            "Temperature at which a run leaves a lag",
            lag.estimated_lag_leaving_K,
            {**run, "filler": "varnish", "length_m": 0.005},
            ("S11",),
            **lists,
        ),
        make(
            "lag-length-contact",
            "Length of a lag with a known contact",
            lag.lag_length_m,
            {**run, "contact_W_m_K": 0.3, "tolerance_K": 0.1},
            **only_material,
        ),
        make(
            "sleeve",
            "Contact through a round sleeve",
            lag.coaxial_contact_W_m_K,
            {"conductivity_W_m_K": 0.2, "inner_m": 0.5e-3, "outer_m": 1.7e-3},
        ),
    )


def _radiation() -> tuple[Calculator, ...]:
    make = _group("Radiation and windows")
    walls = {"cold_area_m2": 0.15, "hot_area_m2": 0.2, "cold_K": 35.0, "hot_K": 295.0}
    finishes = surfaces.finishes()
    return (
        make(
            "black-body", "Radiation of a black body", radiation.emissive_power_W_m2, {"temperature_K": 295.0}
        ),
        make(
            "band-fraction",
            "Share of the spectrum below a wavelength",
            radiation.blackbody_fraction,
            {"wavelength_m": 4.0e-6, "temperature_K": 295.0},
        ),
        make(
            "surface-emissivity",
            "Emissivity of a surface",
            surfaces.emissivity,
            {"finish": "polished-copper", "temperature_K": 77.0},
            finish=finishes,
        ),
        make(
            "surface-heat",
            "Heat radiated between two surfaces",
            bench.surface_heat_W,
            {"cold_finish": "handled-metal", "hot_finish": "as-machined-aluminium", **walls},
            cold_finish=finishes,
            hot_finish=finishes,
        ),
        make(
            "disc-view",
            "View factor of two discs",
            view.disc_view_factor,
            {"r1_m": 0.0125, "r2_m": 0.0125, "distance_m": 0.05},
        ),
        make(
            "window",
            "What a window passes, absorbs and emits",
            windows.window_heat,
            {"material": "fused-silica", "area_m2": APERTURE_m2, "source_K": 295.0, "window_K": 60.0},
            ("S03", "S04"),
            material=windows.window_materials(),
        ),
        make(
            "window-thickness",
            "Is a window thick enough to be plausible",
            windows.window_thickness_m,
            {
                "unsupported_diameter_m": 0.025,
                "pressure_Pa": 101325.0,
                "rupture_Pa": 4.826e7,
                "clamped": False,
            },
            ("S03", "S04"),
        ),
        make(
            "hole",
            "Heat through a hole or a bored lid",
            openings.hole_W,
            {"area_m2": APERTURE_m2, "hot_K": 295.0, "cold_K": 4.0},
        ),
        make(
            "pipe",
            "Heat down a pipe",
            openings.pipe_W,
            {"diameter_m": 0.025, "length_m": 0.2, "hot_K": 295.0},
        ),
        make(
            "blanket",
            "Heat through a blanket",
            blankets.blanket_W_m2,
            {"cold_K": 35.0, "hot_K": 295.0, "layers": 30.0},
        ),
    )


def _gas() -> tuple[Calculator, ...]:
    make = _group("Gas")
    known = gas.gases()
    helium = {"gas": "helium", "cold_K": 35.0, "hot_K": 295.0, "gap_m": 0.01}
    return (
        make(
            "gas-heat",
            "Heat through what gas is left",
            bench.residual_gas_W,
            {**helium, "gauge_Pa": 1e-3, "area_m2": 0.15},
            gas=known,
        ),
        make(
            "gas-conductance",
            "Heat carried by free molecules",
            gas.free_molecular_conductance_W_m2_K_Pa,
            {"gas": "helium", "gauge_K": 295.0},
            gas=known,
        ),
        make(
            "mean-free-path",
            "Mean free path",
            gas.mean_free_path_m,
            {"gas": "helium", "pressure_Pa": 1e-3, "temperature_K": 295.0},
            gas=known,
        ),
        make(
            "knudsen",
            "Which law of gas holds in a gap",
            gas.knudsen_number,
            {"gas": "helium", "pressure_Pa": 1e-3, "temperature_K": 165.0, "gap_m": 0.01},
            gas=known,
        ),
        make("freezing", "Which gases remain", gas.remaining_gases, {"coldest_K": 15.0}),
    )


def _joints() -> tuple[Calculator, ...]:
    make = _group("Joints and thermometers")
    return (
        make(
            "joint",
            "Conductance of a pressed joint",
            joints.joint_conductance_W_K,
            {"filler": "greased", "force_N": 800.0, "temperature_K": 4.0, "metal": "copper"},
            filler=joints.joint_fillers(),
            metal=joints.joint_metals(),
        ),
        make(
            "mount",
            "Resistance of a mount nobody measured",
            joints.mount_resistance_K_W,
            {"filler": "greased", "temperature_K": 4.0},
            filler=joints.mount_states(),
        ),
        make(
            "electronic-limit",
            "Conductance of a joint from its electrical resistance",
            joints.electronic_limit_W_K,
            {"resistance_ohm": 1e-6, "temperature_K": 4.2},
        ),
        make(
            "self-heating",
            "Self-heating of a thermometer",
            thermometers.self_heating_K,
            {"power_W": 1e-7, "resistance_K_W": 500.0},
        ),
        make(
            "excitation",
            "Largest excitation of a thermometer",
            thermometers.largest_excitation_A,
            {"share": 0.001, "temperature_K": 4.0, "resistance_ohm": 1000.0, "resistance_K_W": 1000.0},
        ),
        make(
            "two-powers",
            "Reading without self-heating",
            thermometers.unheated_K,
            {"first_K": 4.2001, "first_W": 1e-7, "second_K": 4.2003, "second_W": 4e-7},
        ),
    )


def _screws() -> tuple[Calculator, ...]:
    make = _group("Screws")
    return (
        make(
            "preload",
            "Preload of a screw",
            mechanics.preload_N,
            {"torque_N_m": 0.56, "diameter_m": 0.003, "nut_factor": 0.20},
        ),
        make(
            "screw-check",
            "Does a screw or its thread bear a torque",
            mechanics.check_screw,
            {
                "thread_name": "M3",
                "torque_N_m": 0.56,
                "screw": "stainless-A2-70",
                "threaded": "soft-copper",
                "engaged_m": 0.0045,
            },
            thread_name=mechanics.threads(),
            screw=mechanics.screw_metals(),
            threaded=mechanics.threaded_metals(),
        ),
        make(
            "thread-strip",
            "Load that strips a thread",
            mechanics.strip_load_N,
            {"diameter_m": 0.003, "pitch_m": 0.0005, "engaged_m": 0.0045, "shear_Pa": 1.1e8},
        ),
        make(
            "clamping",
            "Clamping left when cold, without springs",
            mechanics.clamping_cold,
            {
                "preload_N": 900.0,
                "thread_name": "M3",
                "grip_m": 0.010,
                "screw": "stainless-304",
                "joint": "copper-rrr-100",
            },
            thread_name=mechanics.threads(),
            screw=mechanics.clampable(),
            joint=mechanics.clampable(),
        ),
    )


def _springs() -> tuple[Calculator, ...]:
    make = _group("Disc springs")
    return (
        make(
            "disc-spring",
            "Force of a disc spring",
            mechanics.disc_spring_force_N,
            {
                "outer_m": 0.008,
                "inner_m": 0.0042,
                "thickness_m": 0.0004,
                "free_height_m": 0.0006,
                "deflection_m": 0.00015,
            },
            ("S10",),
        ),
        make(
            "clamping-discs",
            "Clamping left when cold, with disc springs",
            bench.clamping_with_discs,
            {
                "preload_N": 200.0,
                "thread_name": "M3",
                "grip_m": 0.010,
                "screw": "stainless-304",
                "joint": "aluminium-6061",
                "disc": "A8",
                "orientation": "()()",
            },
            ("S10",),
            thread_name=mechanics.threads(),
            screw=mechanics.clampable(),
            joint=mechanics.clampable(),
            disc=mechanics.disc_sizes(),
        ),
    )


def _cooling() -> tuple[Calculator, ...]:
    make = _group("Cooling down")
    return (
        make(
            "cooling-time",
            "Time to cool a mass with a constant power",
            bench.cooling_time_at_power_s,
            {"material": "copper-rrr-100", "mass_kg": 0.1, "power_W": 10.0, "hot_K": 295.0, "cold_K": 77.0},
            material=materials("specific_heat"),
        ),
    )
