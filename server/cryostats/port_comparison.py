"""One test of continuity and isolation against the one before, line by line. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.cryostats.port_models import ContinuityLine
from server.units import in_unit

SHARE, LEAST_OHM = 0.1, 0.5
"""A resistance that moved by more than a tenth and half an ohm moved (common practice, no source)."""
FELL = 0.1
"""An isolation that fell below a tenth of what it was fell (common practice, no source)."""
SAME, BETTER, WORSE, NEW = "same", "better", "worse", "new"


@dataclass(frozen=True)
class Moved:
    """What became of one line since the last test: how to take it, and in words."""

    mark: str
    words: str


def ohm(value_ohm: float | None, *, more: bool = False) -> str:
    """A resistance in the unit people read it in; `> 200 MΩ` for more than the meter shows."""
    if value_ohm is None:
        return "not measured"
    unit = "Mohm" if value_ohm >= 1e6 else "kohm" if value_ohm >= 1e3 else "ohm"
    shown = in_unit(value_ohm, unit)
    return f"> {shown}" if more else shown


def by_place(rows: Iterable[ContinuityLine]) -> Mapping[tuple[str, int], ContinuityLine]:
    """Port and pin → line."""
    return {(row.port, row.pin): row for row in rows}


def moved(now: ContinuityLine, then: ContinuityLine | None) -> Moved:
    """A line against itself in the last test."""
    if then is None:
        return Moved(NEW, "not measured last time")
    if now.open != then.open:
        return Moved(WORSE, "now open") if now.open else Moved(BETTER, "through again")
    parts = [row for row in (_resistance(now, then), _isolation(now, then)) if row is not None]
    worst = next((row for row in parts if row.mark == WORSE), parts[0] if parts else None)
    if worst is None:
        return Moved(SAME, "as before")
    return Moved(worst.mark, "; ".join(row.words for row in parts))


def _resistance(now: ContinuityLine, then: ContinuityLine) -> Moved | None:
    if now.resistance_ohm is None or then.resistance_ohm is None:
        return None
    by_ohm = now.resistance_ohm - then.resistance_ohm
    if abs(by_ohm) <= max(LEAST_OHM, SHARE * then.resistance_ohm):
        return None
    mark = WORSE if by_ohm > 0 else BETTER
    return Moved(mark, f"resistance was {ohm(then.resistance_ohm)}")


def _isolation(now: ContinuityLine, then: ContinuityLine) -> Moved | None:
    return isolation_moved((now.isolation_ohm, now.isolation_more), (then.isolation_ohm, then.isolation_more))


def isolation_moved(now: tuple[float | None, bool], then: tuple[float | None, bool]) -> Moved | None:
    """An isolation, with whether it is more than that, against the last one; None where it stayed."""
    (now_ohm, now_more), (then_ohm, then_more) = now, then
    if now_ohm is None or then_ohm is None:
        return None
    was = f"isolation was {ohm(then_ohm, more=then_more)}"
    if not now_more and now_ohm < FELL * then_ohm:
        return Moved(WORSE, was)
    return Moved(BETTER, was) if not then_more and now_ohm * FELL > then_ohm else None
