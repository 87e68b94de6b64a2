"""Who may change what while a cryostat is cold: the table as it begins, and how a change is read against it.

The table is common practice, no source; a steward edits it for each cryostat. Three of its lines are held to,
because the program itself records such a change; the others are for people to read.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.cryostats import rules
from server.cryostats.rules import Change, Put

COLD = "cold"
CELLS = {
    "yes": "yes",
    "note": "note it",
    "no": "no",
    "inducted": "yes, if laser-inducted",
    "own": "if own booking or draft",
    "vent": "yes, at vent only",
    "house": "house draft only",
    "approved": "approved draft only",
    "card": "per night card only",
}
HELD = {"yes", "no", "house", "approved"}
"""What a line of the configuration that is held to may say."""
HELD_WARM = {"yes", "no", "own"}
WARM = "warm"
LEAVES_COLD = {"warming", "open"}
"""States that end a cold window."""
GRADE_COLUMNS = ("operate", "open", "rewire")


@dataclass(frozen=True)
class Line:
    """One kind of change, and what each grade may do; a steward may do all."""

    what: str
    words: str
    operate: str
    open: str
    rewire: str
    record: str
    held: bool = False
    """True where the program records such a change and refuses one that breaks the rule."""


DEFAULTS = (
    Line("set-point", "Temperature set-point below 100 K", "yes", "yes", "yes", "automatic or line"),
    Line("heater", "Heater above its limit, ramp above 100 K", "no", "yes", "yes", "line"),
    Line("laser", "Laser power inside the approved range", "inducted", "inducted", "inducted", "line"),
    Line("source", "Heat source in the configuration: power or wavelength outside the approved range",
         "no", "no", "approved", "new draft version", held=True),
    Line("objective", "Move a positioner, an objective outside", "yes", "yes", "yes", "–"),
    Line("cables", "Connect or disconnect room-temperature cables", "yes", "yes", "yes", "line"),
    Line("grounds", "Ground, shorting caps, filters", "note", "yes", "yes", "line"),
    Line("pump", "Pump valve, gauge", "no", "yes", "yes", "line"),
    Line("nitrogen", "Open or close nitrogen", "no", "vent", "yes", "checklist"),
    Line("helium", "Touch helium couplings, compressor settings", "no", "no", "no", "service"),
    Line("warm", "Warm and open", "no", "own", "yes", "new draft", held=True),
    Line("configuration", "Change lid, window, lag, wire, or anything else inside",
         "no", "house", "approved", "new draft, photograph", held=True),
    Line("alarms", "Change alarm limits", "no", "no", "no", "reason"),
    Line("restart", "Restart after a trip", "card", "card", "card", "steward decides"),
)  # fmt: skip
ORDER = {line.what: line for line in DEFAULTS}
SOURCES = {"source", "heater-leads"}


@dataclass(frozen=True)
class Way:
    """How a change comes: by hand, from the house draft, or from an approved draft."""

    cell: str
    most_grade: int
    """The most it asks for: what a steward drew or approved, whoever opens or rewires may put in."""


BY_HAND = Way("yes", rules.STEWARD)
FROM_HOUSE = Way("house", rules.OPEN)
FROM_APPROVED = Way("approved", rules.REWIRE)
LETS_BY = {"yes": {"yes", "house", "approved"}, "house": {"house"}, "approved": {"house", "approved"}}
"""What a cell lets by. Whoever may build an approved draft may build the house draft too."""


def kinds_of_change(change: Change, present: Mapping[str, Put]) -> tuple[str, ...]:
    """Which lines of the table a change falls under."""
    kinds = {put.kind for put in change.put}
    kinds |= {present[put.key].kind for put in change.put if put.key in present}
    kinds |= {present[key].kind for key in change.remove if key in present}
    found = (("source", kinds & SOURCES), ("configuration", kinds - SOURCES))
    return tuple(what for what, those in found if those)


def cell(line: Line, grade: int) -> str:
    """What this grade may do; a steward may do all."""
    if grade >= rules.STEWARD:
        return "yes"
    names = {rules.OPERATE: line.operate, rules.OPEN: line.open}
    return "no" if grade < rules.OPERATE else names.get(grade, line.rewire)


def refusal(lines: Iterable[Line], grade: int, way: Way, name: str) -> str:
    """Why a change may not be made while cold, in one sentence; empty when it may."""
    for line in lines:
        said = cell(line, grade)
        if way.cell not in LETS_BY.get(said, set()):
            return (
                f"{name} is cold. The table of its cold window says for your grade: “{line.words}”: "
                f"{CELLS[said]}. Draw it as a draft, or ask the steward."
            )
    return ""


def ends_window(before: str, after: str) -> bool:
    """True when going from one state to another warms or opens what is cold."""
    return before == COLD and after in LEAVES_COLD


def warm_refusal(line: Line, grade: int, name: str, *, own: bool) -> str:
    """Why somebody may not warm or open what is cold, in one sentence; empty when they may."""
    said = cell(line, grade)
    if said == "yes" or (said == "own" and own):
        return ""
    return (
        f"{name} is cold. The table of its cold window says for your grade: “{line.words}”: {CELLS[said]}. "
        "Ask whoever has it, or the steward."
    )


def legal(line: Line) -> set[str]:
    """What the cells of a line may say."""
    if not line.held:
        return set(CELLS)
    return HELD_WARM if line.what == WARM else HELD


def faults(line: Line) -> dict[str, str]:
    """What an edited line gets wrong, field → what to do."""
    found = {}
    for name in GRADE_COLUMNS:
        if getattr(line, name) not in legal(line):
            found[name] = "Choose one of the answers"
    return found | rules.text_faults("record", "the record", line.record, rules.LONGEST_LABEL)
