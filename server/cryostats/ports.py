"""Feed-throughs of a cryostat, what is on each pin, and what was measured on the lines."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import sqlalchemy as sa
from sqlmodel import Session, col, select

from server.cryostats import contents, guards
from server.cryostats.models import Cryostat
from server.cryostats.port_models import ContinuityLine, ContinuityTest, PinEntry, Port, PortRetired
from server.cryostats.port_rules import (
    CARRIES,
    DC,
    DEAD,
    LINE,
    PIN_STATES,
    Entered,
    Lines,
    Pins,
    Readings,
    lines_of,
    pins_faults,
    port_faults,
    readings_faults,
)
from server.cryostats.rules import OPEN, REWIRE, text_faults
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.people.models import Person


@dataclass(frozen=True)
class Said:
    """What is on some pins from now on."""

    numbers: tuple[int, ...]
    state: str
    line: str = ""
    element_key: str = ""
    note: str = ""


def of_cryostat(session: Session, cryostat: Cryostat) -> Sequence[Port]:
    """Its ports, by name, without those that are retired."""
    query = select(Port).where(Port.cryostat_id == cryostat.id).order_by(Port.name)
    return session.exec(query.where(col(Port.id).not_in(select(PortRetired.port_id)))).all()


def retired(session: Session, cryostat: Cryostat) -> Sequence[tuple[Port, PortRetired]]:
    """The ports that are no longer there, the last one first."""
    query = select(Port, PortRetired).join(PortRetired, col(PortRetired.port_id) == col(Port.id))
    query = query.where(Port.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(PortRetired.id).desc())).all()


def add(session: Session, person: Person, slug: str, said: Entered, at: datetime) -> Port:
    """A port with its pins, all of them free."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, REWIRE)
    found = port_faults(said)
    query = select(Port.id).where(Port.cryostat_id == cryostat.id, Port.name == said.name)
    if not found and session.exec(query).first() is not None:
        found["name"] = f"There is, or was, a port “{said.name}” here already"
    if found or said.pins is None:
        raise Refused("The port was not stored.", found)
    assert cryostat.id is not None
    port = Port(cryostat_id=cryostat.id, at=at, by_name=person.name, by_id=person.id, **vars(said))
    session.add(port)
    session.flush()
    words = f"Port {port.name} with {port.pins} {CARRIES[port.carries]}"
    history.note(session, person, f"cryostat/{slug}", words, at)
    return port


def retire(
    session: Session, person: Person, slug: str, number: int, reason: str, at: datetime
) -> PortRetired:
    """A port is no longer there. Lines come off it first; Conflict when it is retired already."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, REWIRE)
    port = _standing(session, cryostat, number)
    found = text_faults("reason", "the reason", reason, 2000)
    if not reason.strip():
        found["reason"] = "Enter why it is no longer there"
    carrying = [pin for pin, row in pins(session, cryostat).get(number, {}).items() if row.state == LINE]
    if carrying and not found:
        found["reason"] = f"Pin {min(carrying)} still carries a line; say first that it is free"
    if found:
        raise Refused("The port was not retired.", found)
    row = PortRetired(port_id=number, reason=reason.strip(), at=at, by_name=person.name, by_id=person.id)
    session.add(row)
    session.flush()
    history.note(session, person, f"cryostat/{slug}", f"Port {port.name} retired: {row.reason}", at)
    return row


def _standing(session: Session, cryostat: Cryostat, number: int) -> Port:
    """One port that is there; NotFound, or Conflict when it is retired."""
    port = find(session, cryostat, number)
    query = select(PortRetired).where(PortRetired.port_id == number)
    gone = session.exec(query).first()
    if gone is not None:
        raise Conflict(f"Port {port.name} is retired, says {gone.by_name}: {gone.reason}")
    return port


def find(session: Session, cryostat: Cryostat, number: int) -> Port:
    """One port of this cryostat; NotFound."""
    port = session.get(Port, number) if 0 < number < 2**31 else None
    if port is None or port.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such port.")
    return port


def pins(session: Session, cryostat: Cryostat) -> Mapping[int, Mapping[int, PinEntry]]:
    """Port → pin → what is on it now, for every pin somebody wrote something of."""
    newest = (
        select(sa.func.max(col(PinEntry.id)))
        .join(Port, col(Port.id) == col(PinEntry.port_id))
        .where(Port.cryostat_id == cryostat.id)
        .group_by(col(PinEntry.port_id), col(PinEntry.pin))
    )
    found: dict[int, dict[int, PinEntry]] = {}
    for row in session.exec(select(PinEntry).where(col(PinEntry.id).in_(newest))).all():
        found.setdefault(row.port_id, {})[row.pin] = row
    return found


def connect(
    session: Session, person: Person, slug: str, port_number: int, said: Said, at: datetime
) -> tuple[PinEntry, ...]:
    """Say of pins what is on them. A dead pin must be said to be free before a line goes on it."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN if said.state == DEAD else REWIRE)
    port = _standing(session, cryostat, port_number)
    assert port.id is not None
    found = pins_faults(said.numbers, said.state, said.line, port.pins)
    found |= text_faults("note", "the note", said.note, 2000)
    present = contents.elements(session, cryostat, cryostat.revision)
    if said.element_key and said.element_key not in present:
        found["element"] = "Choose an element that is inside now"
    if found:
        raise Refused("Nothing was stored.", found)
    _refuse_dead(session, cryostat, port, said)
    rows = tuple(
        PinEntry(
            port_id=port.id,
            pin=number,
            state=said.state,
            line=_line(said, number),
            element_key=said.element_key,
            note=said.note,
            at=at,
            by_name=person.name,
            by_id=person.id,
        )
        for number in said.numbers
    )
    session.add_all(rows)
    session.flush()
    span = str(said.numbers[0]) if len(rows) == 1 else f"{said.numbers[0]} … {said.numbers[-1]}"
    words = f"Port {port.name}, pin {span}: {PIN_STATES[said.state]} {said.line}".strip()
    history.note(session, person, f"cryostat/{slug}", words, at)
    return rows


def _line(said: Said, number: int) -> str:
    """Several pins of one line's name are told apart by their numbers."""
    return said.line if len(said.numbers) == 1 or not said.line else f"{said.line} {number}"


def _refuse_dead(session: Session, cryostat: Cryostat, port: Port, said: Said) -> None:
    assert port.id is not None
    now = pins(session, cryostat).get(port.id, {})
    dead = [number for number in said.numbers if number in now and now[number].state == DEAD]
    if dead and said.state == "line":
        raise Conflict(
            f"Pin {dead[0]} of port {port.name} is dead, says {now[dead[0]].by_name}. "
            "If it works again, say first that it is free."
        )


def counted(session: Session, cryostat: Cryostat, carries: str = DC) -> Pins:
    """The pins, or the connectors, of all its ports of one sort together, and how many of them are dead."""
    there = [port for port in of_cryostat(session, cryostat) if port.carries == carries]
    by_port = pins(session, cryostat)
    dead = sum(row.state == DEAD for port in there for row in by_port.get(port.id or 0, {}).values())
    return Pins(sum(port.pins for port in there), dead)


def needed(session: Session, cryostat: Cryostat, revision: int, carries: str = DC) -> Lines:
    """The lines of one sort that a revision brings in."""
    return lines_of(contents.elements(session, cryostat, revision).values(), carries)


def measure(
    session: Session,
    person: Person,
    slug: str,
    said: Readings,
    at: datetime,
    today: date,
    faults: Mapping[str, str],
) -> ContinuityTest:
    """Write down a test of continuity and isolation: all its lines, or nothing."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    there = {port.name: port.pins for port in of_cryostat(session, cryostat)}
    found = readings_faults(said, there, today) | dict(faults)
    if found:
        raise Refused("The test was not stored.", found)
    assert cryostat.id is not None
    test = ContinuityTest(
        cryostat_id=cryostat.id,
        revision=contents.revision_on(session, cryostat, said.on_day),
        on_day=said.on_day,
        lid=said.lid,
        mount_shield_ohm=said.mount_shield_ohm,
        mount_shield_more=said.mount_shield_more,
        note=said.note,
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(test)
    session.flush()
    assert test.id is not None
    session.add_all([ContinuityLine(test_id=test.id, **vars(row)) for row in said.lines])
    session.flush()
    opened = sum(row.open for row in said.lines)
    words = f"Continuity of {len(said.lines)} lines, {opened} open, lid {said.lid}"
    history.note(session, person, f"cryostat/{slug}", words, at, {"test": test.id})
    return test


def measured(session: Session, cryostat: Cryostat, limit: int = 50) -> Sequence[ContinuityTest]:
    """The newest tests, newest first."""
    query = select(ContinuityTest).where(ContinuityTest.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(ContinuityTest.id).desc()).limit(limit)).all()


def measurement(session: Session, cryostat: Cryostat, number: int) -> ContinuityTest:
    """One test of this cryostat; NotFound."""
    found = session.get(ContinuityTest, number) if 0 < number < 2**31 else None
    if found is None or found.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no such test.")
    return found


def lines(session: Session, test: ContinuityTest) -> Sequence[ContinuityLine]:
    """What was measured, by port and pin."""
    query = select(ContinuityLine).where(ContinuityLine.test_id == test.id)
    return session.exec(query.order_by(ContinuityLine.port, col(ContinuityLine.pin))).all()


def before(session: Session, test: ContinuityTest) -> tuple[ContinuityTest, Sequence[ContinuityLine]] | None:
    """The last test of the same cryostat before this one, with its lines; None for the first."""
    query = select(ContinuityTest).where(
        ContinuityTest.cryostat_id == test.cryostat_id, col(ContinuityTest.id) < test.id
    )
    found = session.exec(query.order_by(col(ContinuityTest.id).desc()).limit(1)).first()
    return (found, lines(session, found)) if found else None
