"""Own materials in the database, on each engine."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Engine
from sqlalchemy.exc import DBAPIError
from sqlmodel import Session, select

from server.db import writing
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.materials import service
from server.materials.models import OwnVersion
from server.materials.rules import Own, Points
from server.people.service import CommandLine

AT = datetime(2026, 3, 14, 11, 20, tzinfo=UTC)
OWN = Own("our-resin", Points((2.0, 8.0), (0.02, 0.08), (1e-7, 2e-7)), "our book", 0.2, "One sample.")
BETTER = replace(OWN, points=Points((2.0, 8.0), (0.03, 0.09)))


def test_a_material_comes_back_as_it_was_entered(session: Session) -> None:
    row = service.add(session, CommandLine(), OWN, AT)
    session.expire_all()
    assert service.own_of(row) == OWN
    assert (row.number, row.at, row.by_name) == (1, AT, "command line")
    assert service.in_force(session)["our-resin"].conductivity_W_m_K(4.0) == pytest.approx(0.04)
    assert list(service.names(session)) == ["our-resin"]


def test_a_correction_is_in_force_and_the_old_version_stays(session: Session) -> None:
    service.add(session, CommandLine(), OWN, AT)
    service.correct(session, CommandLine(), BETTER, 1, "A thermometer was off.", AT)
    newest, first = service.versions(session, "our-resin")
    assert (newest.number, newest.reason) == (2, "A thermometer was off.")
    assert service.own_of(first) == OWN
    assert [row.number for row in service.newest(session)] == [2]
    assert service.in_force(session)["our-resin"].conductivity_W_m_K(2.0) == pytest.approx(0.03)


def test_what_was_done_is_in_the_history(session: Session) -> None:
    service.add(session, CommandLine(), OWN, AT)
    service.correct(session, CommandLine(), BETTER, 1, "A thermometer was off.", AT)
    session.flush()
    told = [entry.what for entry in history.of(session, service.subject("our-resin"))]
    assert told == [
        "Material our-resin corrected, version 2. A thermometer was off.",
        "Material our-resin entered",
    ]


def test_a_name_is_given_once(session: Session) -> None:
    service.add(session, CommandLine(), OWN, AT)
    with pytest.raises(Refused) as refusal:
        service.add(session, CommandLine(), BETTER, AT)
    assert "our-resin" in refusal.value.fields["name"]


def test_a_correction_of_an_older_version_is_a_conflict(session: Session) -> None:
    service.add(session, CommandLine(), OWN, AT)
    service.correct(session, CommandLine(), BETTER, 1, "Off.", AT)
    with pytest.raises(Conflict, match="version 2"):
        service.correct(session, CommandLine(), OWN, 1, "Off as well.", AT)


def test_a_correction_that_alters_nothing_is_refused(session: Session) -> None:
    service.add(session, CommandLine(), OWN, AT)
    with pytest.raises(Refused):
        service.correct(session, CommandLine(), OWN, 1, "To be sure.", AT)


def test_what_nobody_entered_cannot_be_corrected(session: Session) -> None:
    with pytest.raises(NotFound):
        service.correct(session, CommandLine(), OWN, 1, "Why not.", AT)


def test_a_name_no_database_takes_is_simply_not_there(session: Session) -> None:
    assert service.versions(session, "a\x00b") == ()


def test_of_two_at_the_same_moment_the_second_is_a_conflict(engine: Engine) -> None:
    """The look before is taken away, as it is when both look before either has written."""
    with writing(engine) as session:
        service.add(session, CommandLine(), OWN, AT)
        session.commit()
    with writing(engine) as session, pytest.raises(Conflict, match="in the meantime"):
        service._store(session, CommandLine(), BETTER, 1, "", AT)


@pytest.mark.parametrize(
    "statement", ["UPDATE own_material_version SET source = 'x'", "DELETE FROM own_material_version"]
)
def test_the_database_itself_refuses_to_rewrite_a_version(engine: Engine, statement: str) -> None:
    with writing(engine) as session:
        service.add(session, CommandLine(), OWN, AT)
        session.commit()
    with writing(engine) as session, pytest.raises(DBAPIError, match="append-only"):
        session.execute(sa.text(statement))
    with writing(engine) as session:
        assert session.exec(select(OwnVersion)).one().source == "our book"
