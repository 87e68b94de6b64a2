"""Invented cryostats, elements and changes, made through the same services that people use."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.cryostats import instruments, service
from server.cryostats.documents import put_of
from server.cryostats.models import CoolerVersion, Cryostat
from server.cryostats.rules import Change, Put
from server.cryostats.service import Logged
from server.db import now, writing
from server.people import api_tokens
from server.people.models import Person
from server.people.service import CommandLine, enroll

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)
EVERY_STAGE = ("vessel", "shield", "platform", "mount", "sample")
TEST_POINTS = [
    {"heated": "platform", "added_W": 0.0, "platform_K": 3.18, "shield_K": 32.0},
    {"heated": "platform", "added_W": 0.03, "platform_K": 3.405, "shield_K": 32.06},
    {"heated": "platform", "added_W": 0.15, "platform_K": 4.305, "shield_K": 32.3},
    {"heated": "shield", "added_W": 0.0, "platform_K": 3.18, "shield_K": 32.0},
    {"heated": "shield", "added_W": 1.0, "platform_K": 3.19, "shield_K": 33.1},
]
"""7.5 mK a milliwatt at the platform, 1.1 K a watt at the shield: ordinary for such a cooler, from memory."""


def somebody(session: Session, login: str = "ada", *, steward: bool = True) -> Person:
    """A person with an account."""
    return enroll(
        session,
        CommandLine(),
        name=login.capitalize(),
        login=login,
        password="a long cold night",
        at=AT,
        steward=steward,
    )


def apart(session: Session, person: Person) -> Person:
    """The person with everything loaded, out of the session, as a request has them."""
    session.refresh(person)
    session.expunge(person)
    return person


def a_cryostat(
    session: Session,
    name: str = "Bench A",
    stages: Sequence[str] = EVERY_STAGE,
    limits_K: Mapping[str, float] | None = None,
) -> Cryostat:
    """A cryostat with nothing in it and no cooler, for which no temperature can be predicted."""
    about = instruments.About(name, "Cellar", tuple(stages), limits_K or {"platform": 3.6})
    return instruments.make(session, CommandLine(), about, AT)


def a_cooler(session: Session, cryostat: Cryostat) -> CoolerVersion:
    """Its cooler, as a heater test with nothing inside showed it."""
    data = {"cooler": {"kind": "heater-test", "points": TEST_POINTS}}
    return instruments.measure_cooler(session, CommandLine(), cryostat, data, 0, "", AT)


def wire(key: str = "loom", **fields: Any) -> dict[str, Any]:
    """24 lagged phosphor bronze wires, as a document has them."""
    return {
        "key": key,
        "kind": "wire",
        "material": "phosphor-bronze",
        "count": 24,
        "diameter_m": 0.127e-3,
        "lengths_m": {"vessel-shield": 0.30, "shield-platform": 0.15},
        "lags": [{"stage": "shield", "length_m": 0.02, "state": "good"}],
        "ends_on": "platform",
        **fields,
    }


def lid(state: str = "on", **fields: Any) -> dict[str, Any]:
    """The lid of the house."""
    return {"key": "lid", "kind": "lid", "state": state, "house": True, **fields}


def put(row: Mapping[str, Any]) -> Put:
    """An element as the service takes it."""
    made, faults = put_of(row, "put.0")
    assert not faults, faults
    return made


def change(
    base: int, *rows: Mapping[str, Any], remove: Sequence[str] = (), reason: str = "Because", **more: Any
) -> Change:
    """A change on revision `base`."""
    return Change(reason, base, tuple(put(row) for row in rows), tuple(remove), **more)


def logged(
    session: Session, person: Person, cryostat: Cryostat, *rows: Mapping[str, Any], remove: Sequence[str] = ()
) -> Logged:
    """A change logged on what is there now."""
    wanted = change(cryostat.revision, *rows, remove=remove)
    return service.log_change(session, person, cryostat.slug, wanted, AT)


def a_bench(engine: Engine, person: Person, *rows: Mapping[str, Any], cooler: bool = False) -> str:
    """A cryostat in the books of `engine`, with these elements logged by `person`; its address."""
    with writing(engine) as session:
        cryostat = a_cryostat(session)
        if cooler:
            a_cooler(session, cryostat)
        if rows:
            logged(session, person, cryostat, *rows)
        session.commit()
        return cryostat.slug


def give_grade(engine: Engine, slug: str, person: Person, grade: int) -> None:
    """Let `person` do on this cryostat what the grade allows."""
    from server.cryostats import guards

    with writing(engine) as session:
        cryostat = guards.find(session, slug)
        instruments.give_grade(session, CommandLine(), cryostat, person, grade, AT)
        session.commit()


def token_of(engine: Engine, person: Person) -> str:
    """The text of a fresh API token."""
    with writing(engine) as session:
        _, text = api_tokens.make(session, person, "test", now())
        session.commit()
        return text
