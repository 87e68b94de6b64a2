"""What lies between two configurations as work: its class, its steps, what must be done by hand. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.bookings.rules import NONE, OPTICS, SAMPLE, WIRES
from server.cryostats import rules as cryostat_rules
from server.cryostats.rules import Difference, Put

WIRE_KINDS = frozenset({"wire", "ribbon", "coax", "heater-leads", "thermometer-leads"})
OPTIC_KINDS = frozenset({"lid", "window", "hole", "source", "surface", "support"})
BOOK_KINDS = frozenset({"touch", "gas"})
"""What is a remark in the book and no work."""
ORDER = (NONE, SAMPLE, WIRES, OPTICS)
VERBS = {"added": "Put in", "taken": "Take out", "altered": "Alter"}


@dataclass(frozen=True)
class Work:
    """One step of a changeover."""

    verb: str
    title: str
    change: str

    @property
    def words(self) -> str:
        """`Put in Loom of the chip`."""
        return f"{VERBS[self.verb]} {self.title}"


def steps(difference: Difference) -> tuple[Work, ...]:
    """What must be done, taking out first."""
    rows = [("taken", put) for put in difference.taken]
    rows += [("altered", row.after) for row in difference.altered if not _words_only(row.fields)]
    rows += [("added", put) for put in difference.added]
    return tuple(Work(verb, put.title, class_of(put)) for verb, put in rows if put.kind not in BOOK_KINDS)


def _words_only(fields: Mapping[str, object]) -> bool:
    return set(fields) <= {"label", "note", "house", "part"}


def class_of(put: Put) -> str:
    """What kind of refit an element is."""
    if put.kind in WIRE_KINDS:
        return WIRES
    return OPTICS if put.kind in OPTIC_KINDS else SAMPLE


def change_class(difference: Difference) -> str:
    """The class of a whole changeover: that of its longest step."""
    return max((row.change for row in steps(difference)), key=ORDER.index, default=NONE)


def between(before: Mapping[str, Put], after: Mapping[str, Put]) -> str:
    """The class of going from one configuration to the other."""
    return change_class(cryostat_rules.difference(before, after))


@dataclass(frozen=True)
class Shared:
    """Two configurations in one, or the elements on which they cannot agree."""

    elements: Mapping[str, Put]
    clashes: tuple[str, ...]


def shared(ground: Mapping[str, Put], wanted: Iterable[Mapping[str, Put]]) -> Shared:
    """What serves all: each one's changes on the same ground, unless two want one element differently."""
    found = dict(ground)
    claimed: dict[str, Put | None] = {}
    clashes: list[str] = []
    for configuration in wanted:
        for key in ground.keys() | configuration.keys():
            mine = configuration.get(key)
            if mine == ground.get(key):
                continue
            if key in claimed and claimed[key] != mine:
                clashes.append(key)
            claimed[key] = mine
    for key, put in claimed.items():
        if put is None:
            found.pop(key, None)
        else:
            found[key] = put
    return Shared(found, tuple(dict.fromkeys(clashes)))
