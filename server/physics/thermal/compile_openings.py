"""Radiation past the shield: the lid, its windows and blanks, holes.

How much of what enters stays, and where it lands, no simple sum tells. The shares are common practice
without a source; through a lid that is off more may come, and nobody can say how much.
"""

import math

from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields
from server.physics.thermal.elements import Hole, Lid, Window
from server.physics.thermal.openings import ABSORBED_AT_LEAST, STAYS_AT_LEAST
from server.physics.thermal.recipe import (
    INDEX,
    MOUNT,
    PLATFORM,
    SAMPLE,
    SHIELD,
    VESSEL,
    Place,
    Reader,
    Refusal,
    Term,
    watts,
)
from server.physics.thermal.rows import RADIATION
from server.physics.thermal.windows import WindowHeat, window_heat, window_materials

OFF = Band(ABSORBED_AT_LEAST, None, 0.3)
"""Share of what falls through an open lid that bright cold metal keeps."""

BORE = Band(STAYS_AT_LEAST, 0.5, 1.0)
"""Share of what enters a hole that stays inside."""

GLASS_K = Band(35.0, 60.0, 90.0)
"""Temperature of a glass in the shield, when nobody measured it."""

CLOSED_TO_OPEN = Band(0.0, None, 1.0)


def lid_terms(lid: Lid, place: Place, read: Reader) -> list[Term]:
    """A lid that is on lets nothing in that the bare reference does not have too."""
    _need_shield(place)
    if lid.state == "on":
        return []
    share = _read(read, lid, "sample_share", "share on the sample")
    if lid.state == "bored":
        return _bore(lid.bore_glass, _disc_m2(lid, "bore_diameter_m", read), share, lid.absorbed, place, read)
    open_part = 1.0
    if lid.state == "not-recorded":
        open_part = read("state", "lid not recorded", CLOSED_TO_OPEN, open_ended=True)
    kept = read("absorbed", "share absorbed", lid.absorbed, OFF, open_ended=True)
    area_m2 = _disc_m2(lid, "opening_diameter_m", read)
    return _seen(open_part * kept * area_m2, share, place)


def window_terms(window: Window, place: Place, read: Reader) -> list[Term]:
    """One port of the shield. A blank lets nothing in."""
    _need_shield(place)
    if window.state == "blank":
        return []
    share = _read(read, window, "sample_share", "share on the sample")
    if window.state == "bored":
        return _bore("none", _disc_m2(window, "bore_diameter_m", read), share, window.absorbed, place, read)
    area_m2 = _disc_m2(window, "diameter_m", read)
    if window.state == "in":
        return _bore(window.material, area_m2, share, window.absorbed, place, read)
    open_part = 1.0
    if window.state == "not-recorded":
        open_part = read("state", "window not recorded", CLOSED_TO_OPEN, open_ended=True)
    kept = read("absorbed", "share absorbed", window.absorbed, BORE, open_ended=True)
    return _seen(open_part * kept * area_m2, share, place)


def hole_terms(hole: Hole, place: Place, read: Reader) -> list[Term]:
    """A clear hole or slot between two stages."""
    for stage in (hole.hot_stage, hole.cold_stage):
        if not place.has(stage):
            raise Refusal(f"The hole is at the {stage}, which this cryostat does not have.")
    if INDEX[hole.hot_stage] >= INDEX[hole.cold_stage]:
        raise Refusal("A hole lets a colder stage see a warmer one.", hole.cold_stage)
    if hole.covered == "taped":
        return []
    open_part = 1.0
    if hole.covered == "not-recorded":
        open_part = read("covered", "cover not recorded", CLOSED_TO_OPEN)
    width_m = _read(read, hole, "slot_width_m", "width of the slot")
    slot_m2 = width_m * _read(read, hole, "slot_length_m", "length of the slot")
    area_m2 = _disc_m2(hole, "diameter_m", read) + slot_m2
    kept = _read(read, hole, "absorbed", "share absorbed") * _read(read, hole, "view", "view")
    hot, cold = INDEX[hole.hot_stage], INDEX[hole.cold_stage]
    return [Term(RADIATION, hot, cold, open_part * kept * area_m2)]


def _need_shield(place: Place) -> None:
    if not place.present[SHIELD]:
        raise Refusal("This cryostat has no shield.")


def _bore(
    glass: str, area_m2: float, share: float, absorbed: Quantity, place: Place, read: Reader
) -> list[Term]:
    """A bore in the shield, clear or with a glass in it."""
    if glass == "none":
        return _seen(read("absorbed", "share absorbed", absorbed, BORE) * area_m2, share, place)
    names = window_materials() if glass == "unknown" else (glass,)
    return _glazed([_glass(name, area_m2, place, read) for name in names], share, place, read)


def _seen(area_m2: float, share: float, place: Place) -> list[Term]:
    """What the room radiates through an area onto the cold stages."""
    return [Term(RADIATION, VESSEL, stage, part * area_m2) for stage, part in _landing(share, place)]


def _landing(share: float, place: Place) -> tuple[tuple[int, float], tuple[int, float]]:
    """Where radiation lands behind the shield: on the sample with its share, the rest on the platform."""
    stage = next(number for number in (PLATFORM, MOUNT, SAMPLE, SHIELD) if place.present[number])
    sample = SAMPLE if place.present[SAMPLE] else stage
    return (stage, 1.0 - share), (sample, share)


def _glass(name: str, area_m2: float, place: Place, read: Reader) -> WindowHeat:
    glass_K = read("glass_K", "temperature of the glass", GLASS_K)
    return window_heat(name, area_m2, place.temperatures_K[VESSEL], glass_K)


def _glazed(glasses: list[WindowHeat], share: float, place: Place, read: Reader) -> list[Term]:
    """What a glass passes and emits into the cold, and takes up for the shield; of several, any of them."""
    passed_W = read("passed", "what the glass passes", _any_of([glass.passed_W for glass in glasses]))
    emitted_W = read("emitted", "what the glass emits", _any_of([glass.emitted_W for glass in glasses]))
    absorbed_W = read("stopped", "what the glass absorbs", _any_of([glass.absorbed_W for glass in glasses]))
    behind = [watts(stage, part * (passed_W + emitted_W)) for stage, part in _landing(share, place)]
    return [watts(SHIELD, absorbed_W - emitted_W), *behind]


def _any_of(bands: list[Band]) -> Band:
    if len(bands) == 1:
        return bands[0]
    lows = [band.low for band in bands if band.low is not None]
    highs = [band.high for band in bands if band.high is not None]
    return Band.between(min(lows), max(highs))


def _disc_m2(element: Lid | Window | Hole, name: str, read: Reader) -> float:
    return (
        math.pi
        / 4.0
        * _read(read, element, name, fields.described(type(element))[name]["label"].lower()) ** 2
    )


def _read(read: Reader, element: Lid | Window | Hole, name: str, what: str) -> float:
    unknown = fields.described(type(element))[name]["unknown"]
    return read(name, what, getattr(element, name), unknown)
