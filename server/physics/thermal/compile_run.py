"""Heat paths of a run: its conductors, its lags, its current, what sits on it."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, product

from server.physics.materials import Material, material
from server.physics.statistics import Band
from server.physics.thermal import fields
from server.physics.thermal.joule import joule_heat_W
from server.physics.thermal.kinds import KINDS
from server.physics.thermal.lag import coaxial_contact_W_m_K, flat_contact_W_m_K, lag_contact_W_m_K
from server.physics.thermal.recipe import INDEX, Place, Reader, Refusal, Term, watts
from server.physics.thermal.rows import conduction
from server.physics.thermal.runs import Lag, MaterialName, Run
from server.physics.thermal.spans import HELD, Grip, paths, shares

UNKNOWN_ALLOY = ("phosphor-bronze", "copper-rrr-100")
"""What an alloy may be that nobody read off the reel."""

THICK_WIRE_m = 0.5e-3
"""Up to here the contact of a lag does not depend on the diameter. What is thicker lies wider under the clamp
while the filler stays as thin (common practice, no source)."""

SIDES = {"one-side": 1.0, "both-sides": 2.0}

Held = dict[str, Lag | None]
"""Stages that hold a run, and by which lag; None in its place holds perfectly."""

EITHER = Band(0.0, None, 1.0)
"""Anything from the one to the other."""

_UNKNOWN = {
    (kind, name): info.about(name).get("unknown")
    for kind, info in KINDS.items()
    for name in fields.described(info.dataclass)
}
_UNKNOWN_LAG_LENGTH_m = fields.described(Lag)["length_m"]["unknown"]


@dataclass(frozen=True)
class Conductor:
    """One of the solids side by side in a run.

    A lag reaches it through the filler of its clamp (``lagged`` is ``clamp``), through the `sleeve` around
    it, or ``always`` perfectly. `width` is how much wider than a wire it lies under a clamp; what is `flat`
    lies there with its own width, behind a film of a thickness. `current_A` is None in what never carries
    any; a current that may be zero still makes its terms.
    """

    solid: Material
    area_m2: float
    count: float
    lagged: str = "clamp"
    current_A: float | None = None
    sleeve: tuple[Material, float, float] | None = None
    width: float = 1.0
    flat: tuple[float, Material | None, float] | None = None

    def contact_W_m_K(self, wire_contact_W_m_K: float, at_K: float) -> float:
        """What a filler that conducts so much to a fine wire conducts to this, from one side."""
        if self.flat is None:
            return wire_contact_W_m_K * self.width
        width_m, film, film_m = self.flat
        film_W_m_K = 1.0 if film is None else film.conductivity_W_m_K(min(max(at_K, 4.0), 300.0))
        return flat_contact_W_m_K(wire_contact_W_m_K, width_m, film_m, film_W_m_K)


@dataclass(frozen=True)
class Route:
    """A run's way down: the stages where it is or may be held, its ends among them, and what lies between."""

    stages: tuple[str, ...]
    spans_m: tuple[float, ...]
    lags: tuple[Lag | None, ...]


def run_terms(run: Run, place: Place, read: Reader) -> list[Term]:
    """All heat paths of a run."""
    stations = _stations(run, place)
    lengths_m = [_length_m(run, hot, cold, read) for hot, cold in pairwise(stations)]
    conductors = list(_conductors(run, read))
    terms = []
    for weight, lags in _patterns(run, stations, read):
        route = _route(run, stations, lengths_m, lags, read)
        for conductor in conductors:
            terms += _paths(run, conductor, route, weight, place, read)
    return terms + _signal(run, place, read)


def _stations(run: Run, place: Place) -> list[str]:
    """The stages a run goes by, from where it starts to where it ends."""
    end = INDEX[run.ends_on]
    starts = [INDEX[hot] for hot, _ in run.lengths_m if INDEX[hot] < end]
    if not starts:
        raise Refusal(f"Give the length of the run down to the {run.ends_on}.", run.ends_on)
    here, found = min(starts), []
    while here < end:
        found.append(fields.STAGES[here])
        next_ones = [INDEX[cold] for hot, cold in run.lengths_m if INDEX[hot] == here]
        here = min((stage for stage in next_ones if stage <= end), default=end)
    found.append(run.ends_on)
    for stage in (found[0], run.ends_on, *(lag.stage for lag in run.lags)):
        if not place.has(stage):
            raise Refusal(f"The run uses the {stage}, which this cryostat does not have.")
        if stage not in found:
            raise Refusal(f"The run has a lag at the {stage}, but no length that leads there.", stage)
    return found


def _length_m(run: Run, hot: str, cold: str, read: Reader) -> float:
    """Length of a crossing; one that is not given adds nothing."""
    if (hot, cold) not in run.lengths_m:
        return 0.0
    length_m = run.lengths_m[hot, cold]
    return read(
        f"lengths_m.{hot}-{cold}", f"length from {hot} to {cold}", length_m, _UNKNOWN[run.kind, "lengths_m"]
    )


def _patterns(run: Run, stations: list[str], read: Reader) -> Iterator[tuple[float, Held]]:
    """Every way the lags may hold the run, with its weight.

    A lag that is loose or not recorded is anything from held to not there.
    """
    ways: list[list[tuple[float, Held]]] = []
    for lag in run.lags:
        if lag.state == "none" or lag.stage not in stations[1:-1]:
            continue
        if lag.state == "good":
            ways.append([(1.0, {lag.stage: lag})])
            continue
        missing = read(f"lag {lag.stage}", f"state of the lag at the {lag.stage}", EITHER)
        ways.append([(1.0 - missing, {lag.stage: None}), (missing, {})])
    for way in product(*ways):
        held = {stage: lag for _, lags in way for stage, lag in lags.items()}
        yield math.prod(weight for weight, _ in way), held


def _route(run: Run, stations: list[str], lengths_m: list[float], lags: Held, read: Reader) -> Route:
    """The stations that hold the run, the lengths in between added up; of a stretch without any, unknown."""
    stages, spans_m, clamps = [stations[0]], [0.0], []
    for stage, length_m in zip(stations[1:], lengths_m, strict=True):
        spans_m[-1] += length_m
        if stage in lags or stage == stations[-1]:
            if spans_m[-1] <= 0.0:
                what = f"length from {stages[-1]} to {stage}"
                spans_m[-1] = read(what, what, None, _UNKNOWN[run.kind, "lengths_m"])
            stages.append(stage)
            spans_m.append(0.0)
            clamps.append(lags.get(stage))
    return Route(tuple(stages), tuple(spans_m[:-1]), tuple(clamps[:-1]))


def _paths(
    run: Run, conductor: Conductor, route: Route, weight: float, place: Place, read: Reader
) -> list[Term]:
    """Conduction of one solid, and what its current makes."""
    spans = zip(route.stages[1:-1], route.lags, strict=True)
    grips = tuple(_grip(run, conductor, stage, lag, place, read) for stage, lag in spans)
    at = [INDEX[stage] for stage in route.stages]
    area_m2 = weight * conductor.count * conductor.area_m2
    row = conduction(conductor.solid)
    terms = [
        Term(row, at[hot], at[cold], area_m2 * per_m) for hot, cold, per_m in paths(route.spans_m, grips)
    ]
    if conductor.current_A is not None:
        terms += _joule(conductor, route, shares(route.spans_m, grips), weight, place)
    return terms


def _grip(run: Run, conductor: Conductor, stage: str, lag: Lag | None, place: Place, read: Reader) -> Grip:
    """How a lag holds one solid. A centre under an attenuator is held by it."""
    if lag is None or conductor.lagged == "always":
        return HELD
    stage_K = place.temperatures_K[INDEX[stage]]
    if conductor.sleeve is None:
        what = f"contact of the lag at the {stage}"
        wire_W_m_K = read(f"contact {stage}", what, _contact_W_m_K(lag.filler, stage_K))
        contact_W_m_K = conductor.contact_W_m_K(wire_W_m_K, stage_K) * SIDES[lag.held]
    elif any(part.stage == stage for part in run.attenuators):
        return HELD
    else:
        dielectric, inner_m, outer_m = conductor.sleeve
        k_W_m_K = dielectric.conductivity_W_m_K(min(max(stage_K, 4.0), 300.0))
        contact_W_m_K = coaxial_contact_W_m_K(k_W_m_K, inner_m, outer_m)
    what, unknown = (
        f"length of the lag at the {stage}",
        Lag.__dataclass_fields__["length_m"].metadata["unknown"],
    )
    length_m = read(f"lag_length {stage}", what, lag.length_m, unknown)
    warm_K = place.temperatures_K[max(INDEX[stage] - 1, 0)]
    return Grip(
        math.sqrt(contact_W_m_K / (_conductivity(conductor.solid, stage_K, warm_K) * conductor.area_m2)),
        length_m,
    )


_contact_W_m_K = lru_cache(maxsize=256)(lag_contact_W_m_K)


@lru_cache(maxsize=1024)
def _conductivity(solid: Material, stage_K: float, warm_K: float) -> float:
    """Conductivity inside a lag: at the stage, or the mean from there to the warm side if that is more."""
    low_K, high_K = solid.about("conductivity").covered_K
    cold_K, hot_K = (min(max(T_K, low_K), high_K) for T_K in (stage_K, warm_K))
    own = solid.conductivity_W_m_K(cold_K)
    if hot_K <= cold_K:
        return own
    return max(own, solid.conductivity_integral_W_m(cold_K, hot_K) / (hot_K - cold_K))


def _joule(
    conductor: Conductor, route: Route, goes: tuple[tuple[float, ...], ...], weight: float, place: Place
) -> list[Term]:
    """What the current makes in every span, at the ends it goes to."""
    assert conductor.current_A is not None
    at = [INDEX[stage] for stage in route.stages]
    into_W = [0.0] * len(at)
    for number, span_m in enumerate(route.spans_m):
        hot_K, cold_K = (place.temperatures_K[at[end]] for end in (number, number + 1))
        hot_W, cold_W = joule_heat_W(
            conductor.solid, span_m / conductor.area_m2, conductor.current_A, cold_K, hot_K
        )
        # A fin lets part of it through: the excess over half goes where the two halves go.
        for end, part in enumerate(goes[number]):
            into_W[end] += (hot_W + cold_W) * part
        into_W[number] += (hot_W - cold_W) / 2.0
        into_W[number + 1] += (cold_W - hot_W) / 2.0
    scale = weight * conductor.count
    return [watts(stage, scale * heat_W) for stage, heat_W in zip(at, into_W, strict=True)]


def _conductors(run: Run, read: Reader) -> Iterator[Conductor]:
    current_A = None
    if run.current_A != 0.0:
        current_A = read("current_A", "current", run.current_A, _UNKNOWN[run.kind, "current_A"])
    if run.kind == "ribbon":
        yield from _ribbon(run, current_A, read)
    elif run.kind == "coax":
        yield from _coax(run, current_A, read)
    else:
        area_m2 = math.pi / 4.0 * _number(run, "diameter_m", "diameter", read) ** 2
        for solid, share in alloys("material", run.material, read):
            yield Conductor(solid, area_m2, share * run.count, current_A=current_A)


def _ribbon(run: Run, current_A: float | None, read: Reader) -> Iterator[Conductor]:
    """Traces, ground plane and backing."""
    thickness_m = _number(run, "thickness_m", "thickness of the traces", read)
    trace_m = _number(run, "width_m", "width of a trace", read)
    width_m = _number(run, "backing_width_m", "width of the ribbon", read)
    plane = {"none": 0.0, "same-metal": 1.0}.get(run.ground_plane)
    if plane is None:
        plane = read("ground_plane", "ground plane not recorded", EITHER)
    film, film_m = None, 0.0
    if run.backing != "none":
        film = material(run.backing)
        film_m = _number(run, "backing_thickness_m", "thickness of the backing", read)
        yield Conductor(film, width_m * film_m, run.count, "always")
    # Half of the backing lies on either side of the metal.
    trace, sheet = ((wide_m, film, film_m / 2.0) for wide_m in (trace_m, width_m))
    for solid, share in alloys("material", run.material, read):
        count = share * run.count
        yield Conductor(solid, trace_m * thickness_m, count * run.traces, current_A=current_A, flat=trace)
        yield Conductor(solid, width_m * thickness_m, count * plane, flat=sheet)


def _coax(run: Run, current_A: float | None, read: Reader) -> Iterator[Conductor]:
    """Jacket, dielectric and centre."""
    outer_m = _number(run, "diameter_m", "outer diameter", read)
    middle_m = outer_m * _number(run, "dielectric_ratio", "dielectric diameter", read)
    centre_m = outer_m * _number(run, "centre_ratio", "centre diameter", read)
    if not centre_m < middle_m < outer_m:
        raise Refusal("Of a coax the centre is thinner than the dielectric, and that than the jacket.")
    dielectric = material(run.dielectric or "ptfe")
    for solid, share in alloys("material", run.material, read):
        jacket_m2 = _ring_m2(middle_m, outer_m)
        yield Conductor(solid, jacket_m2, share * run.count, width=max(1.0, outer_m / THICK_WIRE_m))
    yield Conductor(dielectric, _ring_m2(centre_m, middle_m), run.count, "always")
    like_jacket = run.material if run.material is not None else UNKNOWN_ALLOY[0]
    sleeve = (dielectric, centre_m, middle_m)
    for solid, share in alloys("centre_material", run.centre_material, read, (like_jacket, UNKNOWN_ALLOY[1])):
        count = share * run.count
        yield Conductor(solid, _ring_m2(0.0, centre_m), count, "sleeve", current_A, sleeve)


def _ring_m2(inner_m: float, outer_m: float) -> float:
    return math.pi / 4.0 * (outer_m**2 - inner_m**2)


def _number(run: Run, name: str, what: str, read: Reader) -> float:
    return read(name, what, getattr(run, name), _UNKNOWN[run.kind, name])


def alloys(
    name: str, given: MaterialName, read: Reader, between: tuple[MaterialName, MaterialName] = UNKNOWN_ALLOY
) -> list[tuple[Material, float]]:
    """The solid itself, or of an unknown one both ends of what it may be, with their shares."""
    if given is not None:
        return [(material(given), 1.0)]
    low, high = between
    assert low is not None
    assert high is not None
    share = read(name, "material not known", EITHER)
    return [(material(low), 1.0 - share), (material(high), share)]


def _signal(run: Run, place: Place, read: Reader) -> list[Term]:
    """Signal power where attenuators take it; what is left ends where the run ends."""
    power_W = run.count * read("rf_power_W", "signal power", run.rf_power_W, _UNKNOWN[run.kind, "rf_power_W"])
    parts = sorted(enumerate(run.attenuators), key=lambda part: INDEX[part[1].stage])
    terms = []
    for number, part in parts:
        if not place.has(part.stage):
            raise Refusal(
                f"The run has an attenuator at the {part.stage}, which this cryostat does not have."
            )
        attenuation_dB = read(
            f"attenuator {number}",
            f"attenuation at the {part.stage}",
            part.attenuation_dB,
            Band(0.0, None, 100.0),
        )
        passed = 10.0 ** (-attenuation_dB / 10.0)
        terms.append(watts(INDEX[part.stage], power_W * (1.0 - passed)))
        power_W *= passed
    return [*terms, watts(INDEX[run.ends_on], power_W)] if run.kind == "coax" else terms
