"""Which wire: every metal and gauge for a set of lines, ranked by what it costs in kelvin."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from server.physics.arguments import check_count, check_not_negative, check_positive
from server.physics.errors import PhysicsError
from server.physics.materials import Material, awg_diameter_m, material
from server.physics.thermal.batch import temperatures
from server.physics.thermal.compile import compiled_plainly
from server.physics.thermal.cooler import Cryostat
from server.physics.thermal.copper import LAG_HARDLY_HELPS, lag_hardly_helps
from server.physics.thermal.elements import Element
from server.physics.thermal.joule import span_resistance_ohm
from server.physics.thermal.recipe import INDEX, Place
from server.physics.thermal.remarks import has_copper
from server.physics.thermal.runs import Lag, Run
from server.physics.thermal.state import first_place

WIRE_METALS = (
    "phosphor-bronze",
    "manganin",
    "constantan",
    "nickel-chromium",
    "cupro-nickel-70-30",
    "stainless-304",
    "beryllium-copper",
    "brass",
    "niobium-titanium",
    "copper-rrr-50",
    "copper-rrr-100",
)
"""Metals wires are drawn from."""

GAUGES = tuple(range(24, 46, 2))
"""Wire gauges that are tried."""

WARM_K = 293.0

CONDUCTS_TOO_WELL = "Even lagged: it conducts so well when cold that the lag hardly helps."


@dataclass(frozen=True)
class Wanted:
    """What the lines must do.

    Attributes
    ----------
    lines : int
        How many wires.
    current_A : float
        Effective current in each [A].
    most_ohm : float or None
        Largest resistance of a line when all is cold [Ω]; None if it does not matter.
    lengths_m : mapping
        Crossing → length, as for a `Run` [m].
    lags : tuple of Lag
        Where the lines will be clamped.
    ends_on : str
        Stage on which they land.
    """

    lines: int
    current_A: float = 0.0
    most_ohm: float | None = None
    lengths_m: Mapping[tuple[str, str], float] = field(
        default_factory=lambda: {("vessel", "shield"): 0.30, ("shield", "platform"): 0.15}
    )
    lags: tuple[Lag, ...] = (Lag("shield", 0.010, "varnish", "good"),)
    ends_on: str = "platform"


@dataclass(frozen=True)
class Candidate:
    """One metal and gauge.

    Attributes
    ----------
    material : str
        Name of the metal.
    gauge : int
        American Wire Gauge.
    diameter_m : float
        Its diameter [m].
    rise_K : mapping
        Stage → how much warmer it gets with these lines [K].
    resistance_ohm, warm_resistance_ohm : float or None
        Of one line when all is cold, and at room temperature [Ω]; None if nobody knows.
    self_heating_W : float or None
        What the current makes in all lines together when cold [W].
    fails : tuple of str
        Why it will not do; empty if it will.
    remarks : tuple of str
        What to know about it although it will do.
    """

    material: str
    gauge: int
    diameter_m: float
    rise_K: Mapping[str, float]
    resistance_ohm: float | None
    warm_resistance_ohm: float | None
    self_heating_W: float | None
    fails: tuple[str, ...]
    remarks: tuple[str, ...] = ()


def choose_wire(
    cryostat: Cryostat,
    elements: Sequence[Element],
    wanted: Wanted,
    metals: Sequence[str | Material] = WIRE_METALS,
    gauges: Sequence[int] = GAUGES,
) -> tuple[Candidate, ...]:
    """Rank every metal and gauge for a set of lines.

    Parameters
    ----------
    cryostat : Cryostat
        The instrument, with its limits [K].
    elements : sequence of elements
        What is in it already.
    wanted : Wanted
        What the lines must do.
    metals : sequence of str or Material
        Metals to try, by name or as objects.
    gauges : sequence of int
        Wire gauges to try.

    Returns
    -------
    tuple of Candidate
        Those that will do first, coldest sample first, then coldest platform; after them those that will
        not, each with its reasons.

    Raises
    ------
    Unphysical
        When what is wanted cannot be, or nothing can be made of the cooler's data.
    UnknownMaterial
        When there is no metal of a given name.

    Notes
    -----
    Rises are at the best values of all data, without bands: put the chosen wire into the configuration for
    those. Ends of the lines are taken to be soldered; what a wire may carry before its enamel suffers in air
    is not judged here.

    Examples
    --------
    >>> from server.physics.thermal import Cryostat, HeaterPoint, HeaterTest
    >>> test = HeaterTest((HeaterPoint("platform", 0.0, 32.0, 3.2), HeaterPoint("platform", 0.1, 32.0, 3.9)))
    >>> cryostat = Cryostat(("vessel", "shield", "platform"), test)
    >>> metals = ["copper-rrr-100", "phosphor-bronze"]
    >>> ranked = choose_wire(cryostat, [], Wanted(24, most_ohm=10.0), metals, [36])
    >>> [candidate.material for candidate in ranked]
    ['phosphor-bronze', 'copper-rrr-100']

    References
    ----------
    ASTM B258 for diameters; `balance` for the rest.
    """
    check_count(lines=wanted.lines)
    check_not_negative(current_A=wanted.current_A)
    if wanted.most_ohm is not None:
        check_positive(most_ohm=wanted.most_ohm)
    for metal in metals:
        material(metal)
    pairs = list(product(metals, gauges))
    runs = [_run(wanted, metal, gauge) for metal, gauge in pairs]
    before, *after = temperatures(cryostat, [elements, *([*elements, run] for run in runs)])
    place = first_place(cryostat)
    known = tuple(before.get(stage, T_K) for stage, T_K in zip(INDEX, place.temperatures_K, strict=True))
    place = place._replace(temperatures_K=known)
    found = [
        _judged(cryostat, wanted, run, gauge, (before, then), place)
        for run, (_, gauge), then in zip(runs, pairs, after, strict=True)
    ]
    return tuple(sorted(found, key=_rank))


def _run(wanted: Wanted, metal: str | Material, gauge: int) -> Run:
    return Run(
        key="wanted lines",
        material=metal,
        count=wanted.lines,
        diameter_m=awg_diameter_m(gauge),
        lengths_m=wanted.lengths_m,
        lags=wanted.lags,
        ends_on=wanted.ends_on,
        current_A=wanted.current_A,
    )


def _rank(candidate: Candidate) -> tuple[bool, float, float, int]:
    sample_K = candidate.rise_K.get("sample", candidate.rise_K.get("platform", math.inf))
    return bool(candidate.fails), sample_K, candidate.rise_K.get("platform", math.inf), candidate.gauge


def _judged(
    cryostat: Cryostat,
    wanted: Wanted,
    run: Run,
    gauge: int,
    temperatures_K: tuple[Mapping[str, float], Mapping[str, float]],
    place: Place,
) -> Candidate:
    before, after = temperatures_K
    cold_ohm, warm_ohm = _resistances_ohm(run, place)
    assert isinstance(run.diameter_m, float)
    return Candidate(
        material=material(run.material or "").name,
        gauge=gauge,
        diameter_m=run.diameter_m,
        rise_K={stage: after[stage] - before[stage] for stage in after if stage in before},
        resistance_ohm=cold_ohm,
        warm_resistance_ohm=warm_ohm,
        self_heating_W=None if cold_ohm is None else wanted.lines * wanted.current_A**2 * cold_ohm,
        fails=(
            *_not_computed(run, place, after),
            *_too_warm(cryostat, after),
            *_too_resistive(wanted, cold_ohm),
        ),
        remarks=_remarks(run, place),
    )


def _not_computed(run: Run, place: Place, after: Mapping[str, float]) -> list[str]:
    gap = compiled_plainly(run, place).gap
    if gap is not None:
        return [gap.reason]
    return [] if after else ["Nothing can be told of the cryostat with it."]


def _too_warm(cryostat: Cryostat, after: Mapping[str, float]) -> list[str]:
    found = []
    for stage, T_K in after.items():
        limit_K = cryostat.limits_K.get(stage)
        if limit_K is not None and limit_K < T_K:
            found.append(f"The {stage} would be at {T_K:.3g} K, over its limit of {limit_K:g} K.")
    return found


def _too_resistive(wanted: Wanted, cold_ohm: float | None) -> list[str]:
    if wanted.most_ohm is None:
        return []
    if cold_ohm is None:
        return ["Nobody knows its resistance at these temperatures."]
    if cold_ohm > wanted.most_ohm:
        return [f"A line would have {cold_ohm:.3g} Ω, more than {wanted.most_ohm:g} Ω."]
    return []


def _resistances_ohm(run: Run, place: Place) -> tuple[float | None, float | None]:
    """Of one line when all is cold, held where its lags are good, and at room temperature."""
    assert isinstance(run.diameter_m, float)
    solid, area_m2 = material(run.material or ""), math.pi / 4.0 * run.diameter_m**2
    held = {lag.stage for lag in run.lags if lag.state == "good"} | {run.ends_on}
    cold_ohm, warm_ohm, length_m = 0.0, 0.0, 0.0
    crossings = sorted(run.lengths_m, key=lambda crossing: INDEX[crossing[0]])
    start = crossings[0][0] if crossings else "vessel"
    try:
        for crossing in crossings:
            part_m = run.lengths_m[crossing]
            assert isinstance(part_m, int | float)
            length_m += part_m
            if crossing[1] in held:
                ends_K = (place.temperatures_K[INDEX[stage]] for stage in (crossing[1], start))
                cold_ohm += span_resistance_ohm(solid, length_m / area_m2, *ends_K)
                warm_ohm += span_resistance_ohm(solid, length_m / area_m2, WARM_K, WARM_K)
                start, length_m = crossing[1], 0.0
    except PhysicsError:
        return None, None
    return cold_ohm, warm_ohm


def _remarks(run: Run, place: Place) -> tuple[str, ...]:
    if not lag_hardly_helps(run, place):
        return ()
    return (LAG_HARDLY_HELPS if has_copper(run) else CONDUCTS_TOO_WELL,)
