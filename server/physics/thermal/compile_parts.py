"""Heat paths of everything that is neither a run nor an opening."""

from server.physics.mechanics import nut_factor, preload_N
from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields
from server.physics.thermal.blankets import keller_W_m2
from server.physics.thermal.compile_run import EITHER, alloys
from server.physics.thermal.elements import (
    Element,
    Gas,
    Joint,
    Mass,
    Source,
    Support,
    Surface,
    Touch,
)
from server.physics.thermal.gas import free_molecular_conductance_W_m2_K_Pa, gas_named
from server.physics.thermal.joints import joint_conductance_W_K, mount_resistance_K_W
from server.physics.thermal.radiation import grey_exchange_factor, shield_exchange_factor
from server.physics.thermal.recipe import INDEX, SHIELD, VESSEL, Place, Reader, Refusal, Term, watts
from server.physics.thermal.rows import BETWEEN_LAYERS, LAYERS_EXPONENT, LINEAR, RADIATION, SQUARE, conduction
from server.physics.thermal.surfaces import emissivity

UNKNOWN_SUPPORT = ("g10-normal", "stainless-304")
"""What a support may be made of that nobody recorded."""

CARRIER_K_W = Band(10.0, 30.0, 50.0)
"""What a mount resists besides its pressed joint (common practice, no source)."""

LAYER_EMISSIVITY = 0.031
"""Emissivity of the layers of a blanket, as its published fit has it."""

SPRUNG, UNSPRUNG = Band(0.85, 0.95, 1.0), Band(0.4, 0.8, 1.0)
"""Clamping left at 4 K of what was there warm, with and without disc springs (common practice, no source; a
steel screw in copper loses about a fifth, in aluminium more)."""

MOUNT_K = 4.0
"""A joint resists as at this temperature: a warmer one conducts better, so a large rise is over-estimated."""


def support_terms(support: Support, place: Place, read: Reader) -> list[Term]:
    """Conduction along posts between two stages."""
    hot, cold = _ends(support, place)
    area_m2 = support.count * _read(read, support, "area_m2", "cross-section")
    coefficient_m = area_m2 / _read(read, support, "length_m", "length")
    found = alloys("material", support.material, read, UNKNOWN_SUPPORT)
    return [Term(conduction(solid), hot, cold, share * coefficient_m) for solid, share in found]


def surface_terms(surface: Surface, place: Place, read: Reader) -> list[Term]:
    """Grey radiation between two stages, with floating shields or a blanket if there are any."""
    hot, cold = _ends(surface, place)
    area_m2 = _read(read, surface, "area_m2", "area")
    if surface.blanket_layers:
        return _blanket(surface, area_m2, (hot, cold), place, read)
    hot_m2 = read("hot_area_m2", "area of the warm side", surface.hot_area_m2 or area_m2)
    cold_e = read("cold_finish", "finish of the cold side", _emissivity(surface.cold_finish, cold, place))
    hot_e = read("hot_finish", "finish of the warm side", _emissivity(surface.hot_finish, hot, place))
    factor = grey_exchange_factor(cold_e, hot_e, area_m2, hot_m2)
    if surface.floating_shields:
        factor = shield_exchange_factor(cold_e, hot_e, cold_e, surface.floating_shields)
    return [Term(RADIATION, hot, cold, factor * area_m2)]


def _blanket(
    surface: Surface, area_m2: float, ends: tuple[int, int], place: Place, read: Reader
) -> list[Term]:
    """A blanket after Keller: layers that touch, and layers that radiate, told apart by their emissivity."""
    hot, cold = ends
    hot_K, cold_K = (place.temperatures_K[stage] for stage in ends)
    layers_per_m = _read(read, surface, "layers_per_m", "density of the layers")
    factor = area_m2 * _read(read, surface, "seams", "seams of the blanket")
    once, twice = (
        keller_W_m2(cold_K, hot_K, surface.blanket_layers, layers_per_m, emissivity=emissivity)
        for emissivity in (LAYER_EMISSIVITY, 2.0 * LAYER_EMISSIVITY)
    )
    touching, radiating = 2.0 * once - twice, twice - once
    square, power = (hot_K**n - cold_K**n for n in (2.0, LAYERS_EXPONENT))
    return [
        Term(SQUARE, hot, cold, factor * touching / square),
        Term(BETWEEN_LAYERS, hot, cold, factor * radiating / power),
    ]


def _emissivity(finish: str, stage: int, place: Place) -> Band:
    return emissivity(finish, min(max(place.temperatures_K[stage], 1.0), 310.0))


def source_terms(source: Source, place: Place, read: Reader) -> list[Term]:
    """Given watts, for the share of the time they are on."""
    stage = _stage(source.stage, place)
    power_W = _read(read, source, "power_W", "power")
    duty, kept = (
        _read(read, source, "duty", "share of the time"),
        _read(read, source, "absorbed", "share kept"),
    )
    return [watts(stage, power_W * duty * kept)]


def joint_terms(joint: Joint, place: Place, read: Reader) -> list[Term]:
    """A conductance from what is carried to what it sits on."""
    carried, under = _stage(joint.hot_stage, place), _stage(joint.cold_stage, place)
    if under >= carried:
        raise Refusal(f"The {joint.hot_stage} does not sit on the {joint.cold_stage}.", joint.hot_stage)
    return [Term(LINEAR, under, carried, 1.0 / joint_resistance_K_W(joint, read))]


def joint_resistance_K_W(joint: Joint, read: Reader) -> float:
    """Measured; else from the force of the screws; else what such a mount usually has."""
    if joint.resistance_K_W is not None:
        return read("resistance_K_W", "measured resistance", joint.resistance_K_W)
    if joint.torque_N_m is None or joint.screws == 0 or joint.filler == "unknown":
        usual_K_W = mount_resistance_K_W(joint.filler, MOUNT_K)
        return read("filler", "resistance of the joint", usual_K_W)
    torque_N_m = read("torque_N_m", "torque", joint.torque_N_m)
    diameter_m = _read(read, joint, "screw_diameter_m", "screw diameter")
    friction = read("nut_factor", "friction of the screws", nut_factor("dry"))
    left = read("clamping", "clamping left when cold", _clamping_left(joint))
    force_N = left * joint.screws * preload_N(torque_N_m, diameter_m, friction)
    pressed = joint_conductance_W_K(joint.filler, force_N, MOUNT_K, joint.metal)
    pressed_W_K = read("pressed", "pressed joint", pressed)
    return read("carrier", "rest of the mount", CARRIER_K_W) + 1.0 / pressed_W_K


def _clamping_left(joint: Joint) -> Band:
    """Share of the preload that contraction leaves: most of it where every disc spring is there."""
    return SPRUNG if joint.springs_of and joint.springs >= joint.springs_of else UNSPRUNG


def mass_terms(mass: Mass, place: Place, _read: Reader) -> list[Term]:
    """No heat once it is cold."""
    _stage(mass.stage, place)
    return []


def touch_terms(touch: Touch, place: Place, read: Reader) -> list[Term]:
    """A contact that is there, or that nobody has looked for."""
    hot, cold = _ends(touch, place)
    if touch.state == "checked-absent":
        return []
    there = 1.0 if touch.state == "present" else read("state", "touch not checked", EITHER)
    return [
        Term(LINEAR, hot, cold, there * _read(read, touch, "conductance_W_K", "conductance of the touch"))
    ]


def gas_terms(gas: Gas, place: Place, read: Reader) -> list[Term]:
    """Free molecules from the vessel to the shield, and from there to all that is colder."""
    pressure_Pa = _read(read, gas, "pressure_Pa", "pressure")
    gauge_K = _read(read, gas, "gauge_K", "temperature of the gauge")
    strength = pressure_Pa * _read(read, gas, "accommodation", "accommodation")
    shield_m2 = _read(read, gas, "shield_area_m2", "area of the shield")
    cold_m2 = _read(read, gas, "cold_area_m2", "area of what is colder")
    middle = SHIELD if place.present[SHIELD] else VESSEL
    legs = [(VESSEL, SHIELD, shield_m2)] if middle == SHIELD else []
    if place.coldest != middle:
        legs.append((middle, place.coldest, cold_m2))
    return [
        Term(LINEAR, hot, cold, strength * area_m2 * _by_pressure(gas.gas, gauge_K, cold, place, read))
        for hot, cold, area_m2 in legs
    ]


def _by_pressure(gas: str, gauge_K: float, cold: int, place: Place, read: Reader) -> float:
    """Conductance by area and pressure of what is not frozen out; an unknown gas is none to the worst."""
    names = ("helium", "hydrogen") if gas == "unknown" else (gas,)
    found = [
        free_molecular_conductance_W_m2_K_Pa(name, gauge_K) * _left(name, place.temperatures_K[cold])
        for name in names
    ]
    return max(found) * (read("gas", "gas not known", EITHER) if gas == "unknown" else 1.0)


def _left(gas: str, cold_K: float) -> float:
    """Share of a gas that a surface at `cold_K` leaves: none below where it freezes."""
    freezes_K = gas_named(gas).freezes_K
    if freezes_K is None:
        return 1.0
    start_K, end_K = freezes_K
    return min(max((cold_K - start_K) / (end_K - start_K), 0.0), 1.0)


def _ends(element: Support | Surface | Touch, place: Place) -> tuple[int, int]:
    hot, cold = _stage(element.hot_stage, place), _stage(element.cold_stage, place)
    if hot == cold:
        raise Refusal(f"Both its ends are at the {element.hot_stage}.", element.hot_stage)
    return min(hot, cold), max(hot, cold)


def _stage(stage: str, place: Place) -> int:
    if not place.has(stage):
        raise Refusal(f"It is at the {stage}, which this cryostat does not have.")
    return INDEX[stage]


def _read(read: Reader, element: Element, name: str, what: str) -> float:
    quantity: Quantity = getattr(element, name)
    return read(name, what, quantity, fields.described(type(element))[name]["unknown"])
