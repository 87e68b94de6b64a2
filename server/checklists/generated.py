"""Lines that come from the configuration, from the parts in use here and from the standing orders."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from sqlmodel import Session

from server.checklists.lines import COUNT, SPRINGS, TORQUE, Line
from server.cryostats import contents, parts
from server.cryostats.models import Cryostat
from server.cryostats.part_rules import BROKEN, RETIRED
from server.cryostats.remarks import THREADS
from server.cryostats.rules import Put
from server.laboratory import orders

PART_KINDS = {"ring": "ring", "outer-window": "window"}
NONE_THERE = " (none is written down here)"


@dataclass(frozen=True)
class Subject:
    """One thing that a line is repeated for."""

    key: str
    words: str
    fields: Mapping[str, Any]
    """What it says to every line."""
    torque: Mapping[str, Any] = field(default_factory=dict)
    """What it says to a line that asks a torque."""
    of: Mapping[str, int | None] = field(default_factory=dict)
    """Record → how many there should be."""


def counted_in(session: Session, cryostat: Cryostat, lines: Iterable[Line]) -> list[Line]:
    """The lines as they stand today: each that is repeated, once for every subject there is now.

    A line that finds none stays, and says so, so that nothing falls away unseen. A fixed number of queries.
    """
    wanted = list(lines)
    kinds = {line.each for line in wanted if line.each}
    inside = list(contents.elements(session, cryostat, cryostat.revision).values()) if kinds else []
    found: dict[str, list[Subject]] = {kind: list(_OF[kind](inside)) for kind in kinds & set(_OF)}
    within = parts.inside(session) if kinds & set(PART_KINDS) else {}
    for kind in kinds & set(PART_KINDS):
        found[kind] = _parts(session, cryostat, PART_KINDS[kind], within)
    if "order" in kinds:
        found["order"] = _orders(session, cryostat)
    return [made for line in wanted for made in _repeated(line, found)]


def _repeated(line: Line, found: Mapping[str, list[Subject]]) -> list[Line]:
    if not line.each:
        return [line]
    subjects = found.get(line.each, [])
    if line.each == "order" and not subjects:
        return []
    if not subjects:
        return [replace(line, text=line.text + NONE_THERE)]
    return [_made(line, subject) for subject in subjects]


def _made(line: Line, subject: Subject) -> Line:
    text = f"{subject.words}: {line.text[:1].lower()}{line.text[1:]}"
    more = dict(subject.torque) if line.record == TORQUE else {}
    of = subject.of.get(line.record) or line.of
    return replace(line, key=f"{line.key}/{subject.key}", text=text, of=of, **subject.fields, **more)


def _lags(inside: Iterable[Put]) -> Iterable[Subject]:
    for put in inside:
        for lag in put.data.get("lags") or ():
            stage = lag.get("stage", "shield")
            if lag.get("state") != "none":
                yield Subject(f"{put.key}/{stage}", f"{put.title} at the {stage}", {"element": put.key})


def _joints(inside: Iterable[Put]) -> Iterable[Subject]:
    for put in inside:
        if put.kind != "joint":
            continue
        torque, diameter = put.data.get("torque_N_m"), put.data.get("screw_diameter_m", 0.003)
        thread = THREADS.get(diameter, "") if isinstance(diameter, float) else ""
        stated_N_m = torque if isinstance(torque, float) else None
        yield Subject(
            put.key,
            put.title,
            {"element": put.key},
            {"thread": thread, "stated_N_m": stated_N_m},
            {COUNT: put.data.get("screws_of"), SPRINGS: put.data.get("springs_of")},
        )


def _kind(kind: str) -> Callable[[Iterable[Put]], Iterable[Subject]]:
    def subjects(inside: Iterable[Put]) -> Iterable[Subject]:
        return [Subject(put.key, put.title, {"element": put.key}) for put in inside if put.kind == kind]

    return subjects


_OF: Mapping[str, Callable[[Iterable[Put]], Iterable[Subject]]] = {
    "lag": _lags,
    "joint": _joints,
    "window": _kind("window"),
    "lid": _kind("lid"),
}


def _parts(session: Session, cryostat: Cryostat, kind: str, inside: Mapping[str, Cryostat]) -> list[Subject]:
    """Parts of a kind that are inside here, or whose place names this cryostat."""
    name = cryostat.name.casefold()
    rows = [
        row
        for row in parts.listed(session, kind)
        if row.state not in (BROKEN, RETIRED)
        and (inside[row.tag].id == cryostat.id if row.tag in inside else name in row.place.casefold())
    ]
    return [Subject(row.tag, f"{row.name} ({row.tag})", {"part": row.tag}) for row in rows]


def _orders(session: Session, cryostat: Cryostat) -> list[Subject]:
    """The orders that hold, with their text as the reason, so that it is read at the line."""
    rows = orders.applying(session, f"cryostat/{cryostat.slug}")
    of_whom = {row.id: "the laboratory" if row.scope == orders.LABORATORY else cryostat.name for row in rows}
    return [
        Subject(
            f"{row.scope}/{row.number}",
            f"Order of {of_whom[row.id]}, version {row.number}",
            {"why": row.text},
        )
        for row in rows
    ]
