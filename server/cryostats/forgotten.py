"""What a configuration does not record, in the order of its weight. Pure.

The order is from memory, common practice: lid and windows, copper and ground planes, touches, coax without a
lag, the mount joint, a heater or laser left on.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.cryostats.rules import Put

NOT_RECORDED = "not-recorded"
UNKNOWN = "unknown"
SHUTTERS = ("lid", "window")
RUNS = ("wire", "ribbon", "coax", "heater-leads", "thermometer-leads")


@dataclass(frozen=True)
class Missing:
    """One thing to ask for: in words, and the form that answers, `alter` a key or begin a new `kind`."""

    words: str
    kind: str
    alter: str = ""

    @property
    def do(self) -> str:
        """What a button of the change page says."""
        return f"alter:{self.alter}" if self.alter else f"kind:{self.kind}"

    @property
    def query(self) -> str:
        """What a link to the change page says."""
        return f"alter={self.alter}" if self.alter else f"kind={self.kind}"


def missing(elements: Mapping[str, Put], stages: Sequence[str]) -> tuple[Missing, ...]:
    """What to ask for, heaviest first."""
    puts = tuple(elements.values())
    return (
        *_shutters(puts),
        *_copper(puts),
        *_touches(puts),
        *_coax(puts),
        *_mount(puts, stages),
        *_power(puts),
    )


def _shutters(puts: Sequence[Put]) -> Iterator[Missing]:
    kinds = {put.kind for put in puts}
    for kind in SHUTTERS:
        if kind not in kinds:
            yield Missing(f"No {kind} is entered: is it on, off, in, out or bored?", kind)
    for put in puts:
        if put.kind in SHUTTERS and put.data.get("state", NOT_RECORDED) == NOT_RECORDED:
            yield Missing(f"{put.title}: its state is not recorded", put.kind, put.key)


def _copper(puts: Sequence[Put]) -> Iterator[Missing]:
    runs = [put for put in puts if put.kind in RUNS]
    for put in runs:
        if _unknown(put.data, "material"):
            yield Missing(f"{put.title}: the metal is unknown; is it copper?", put.kind, put.key)
    for put in runs:
        if put.kind == "ribbon" and put.data.get("ground_plane", NOT_RECORDED) == NOT_RECORDED:
            yield Missing(f"{put.title}: is there a ground plane of copper?", put.kind, put.key)


def _unknown(data: Mapping[str, Any], name: str) -> bool:
    return data.get(name) is None


def _touches(puts: Sequence[Put]) -> Iterator[Missing]:
    touches = [put for put in puts if put.kind == "touch"]
    if not touches:
        yield Missing("Nobody wrote down whether mount and shield touch", "touch")
    for put in touches:
        if put.data.get("state", "not-checked") == "not-checked":
            yield Missing(f"{put.title}: not checked for a touch", put.kind, put.key)


def _coax(puts: Sequence[Put]) -> Iterator[Missing]:
    for put in puts:
        if put.kind != "coax":
            continue
        if not _clamped(put.data.get("lags", ())):
            yield Missing(f"{put.title}: no lag is recorded", put.kind, put.key)
        elif not put.data.get("attenuators") and _unnamed_centre(put.data):
            # A lag grips the jacket; only an attenuator holds the centre, else the dielectric does, badly.
            words = "its centre is lagged through the dielectric alone; which metal is it, and what holds it?"
            yield Missing(f"{put.title}: {words}", put.kind, put.key)


def _unnamed_centre(data: Mapping[str, Any]) -> bool:
    """True where the centre is of a metal nobody named."""
    return "centre_material" not in data or data["centre_material"] is None


def _clamped(lags: Sequence[Mapping[str, Any]]) -> bool:
    return any(row.get("state", NOT_RECORDED) != NOT_RECORDED for row in lags)


def _mount(puts: Sequence[Put], stages: Sequence[str]) -> Iterator[Missing]:
    joints = [put for put in puts if put.kind == "joint"]
    if not joints and {"mount", "sample"} & set(stages):
        yield Missing("No mount joint is entered: greased, dry or indium; which screws?", "joint")
    for put in joints:
        if put.data.get("filler", UNKNOWN) == UNKNOWN and _unknown(put.data, "resistance_K_W"):
            yield Missing(f"{put.title}: greased, dry or indium?", put.kind, put.key)


def _power(puts: Sequence[Put]) -> Iterator[Missing]:
    sources = [put for put in puts if put.kind == "source"]
    if not sources:
        yield Missing("No heater or laser is entered: is one left on?", "source")
    for put in sources:
        if _unknown(put.data, "power_W"):
            yield Missing(f"{put.title}: its power is unknown", put.kind, put.key)
