"""One line of a checklist: what to do, why, what to write down. Pure."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

TICK, NUMBER, TORQUE, COUNT, SPRINGS, TEXT = "tick", "number", "torque", "count", "springs", "text"
RECORDS = {
    TICK: "done or not",
    NUMBER: "a number with its unit",
    TORQUE: "a torque",
    COUNT: "so many of so many",
    SPRINGS: "disc springs: so many of so many, and the right way up",
    TEXT: "words",
}
EACH = {
    "": "once",
    "lag": "once for each lag of the configuration",
    "joint": "once for each joint of the configuration",
    "window": "once for each shield window",
    "lid": "once for each shield lid",
    "ring": "once for each ring that is inside, or whose place names this cryostat",
    "outer-window": "once for each window part that is inside, or whose place names this cryostat",
    "order": "once for each standing order that holds here",
}


@dataclass(frozen=True)
class Line:
    """A line as a list has it, or as it stands on one sheet after the configuration was counted in."""

    key: str
    text: str
    why: str = ""
    record: str = TICK
    unit: str = ""
    """Unit a number is typed and shown in; what is kept is SI."""
    low: float | None = None
    """The least that is in order, in SI; None: no limit."""
    high: float | None = None
    of: int | None = None
    """How many there should be, where that is known beforehand."""
    thread: str = ""
    stated_N_m: float | None = None
    """The maker's torque, or that of the standing order."""
    second: bool = False
    """True where a second person's name is asked."""
    gate: bool = False
    cautions: tuple[str, ...] = ()
    each: str = ""
    element: str = ""
    part: str = ""


def as_json(line: Line) -> dict[str, Any]:
    """The line as a row keeps it, without what is left at its default."""
    plain = asdict(Line("", ""))
    kept = {name: value for name, value in asdict(line).items() if value != plain[name]}
    return {"key": line.key, "text": line.text, **kept}


def from_json(row: Mapping[str, Any]) -> Line:
    """The line that `as_json` wrote."""
    return Line(**{**row, "cautions": tuple(row.get("cautions", ()))})
