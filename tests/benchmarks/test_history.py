"""Any revision of a long book is shown about as fast as the newest."""

import time
from datetime import UTC, datetime, timedelta

import pytest
from pytest_benchmark.fixture import BenchmarkFixture
from sqlalchemy.engine import Engine
from sqlmodel import Session

from server.cryostats import contents, guards
from server.cryostats.models import Cryostat, ElementRow, Revision
from server.db import reading, writing
from tests.factories import a_cryostat

CHANGES, PRESENT = 2000, 100
AT = datetime(2024, 1, 1, tzinfo=UTC)


@pytest.fixture
def long_book(engine: Engine) -> Cryostat:
    """A cryostat with 2,000 revisions, each of which altered one of 100 elements."""
    with writing(engine) as session:
        cryostat = a_cryostat(session)
        assert cryostat.id is not None
        for number in range(1, CHANGES + 1):
            session.add(_revision(cryostat.id, number))
            later = number + PRESENT
            session.add(
                ElementRow(
                    cryostat_id=cryostat.id,
                    key=f"loom-{number % PRESENT}",
                    kind="wire",
                    data={"count": number},
                    from_revision=number,
                    to_revision=later if later <= CHANGES else None,
                )
            )
        cryostat.revision = CHANGES
        session.add(cryostat)
        session.commit()
        session.refresh(cryostat)
        return cryostat


def _revision(cryostat_id: int, number: int) -> Revision:
    at = AT + timedelta(hours=number)
    return Revision(
        cryostat_id=cryostat_id,
        number=number,
        base=number - 1,
        reason="Another loom",
        done_at=at,
        recorded_at=at,
        by_name="Ada",
    )


def shown(session: Session, slug: str, number: int) -> int:
    return len(contents.elements(session, guards.find(session, slug), number))


def test_an_old_revision_of_two_thousand_changes(
    benchmark: BenchmarkFixture, engine: Engine, long_book: Cryostat
) -> None:
    """Half-way through the book against its newest page; wanted: at most three times as long."""
    with reading(engine) as session:
        assert shown(session, long_book.slug, CHANGES // 2) == PRESENT
        began = time.perf_counter()
        for _ in range(20):
            session.expire_all()
            shown(session, long_book.slug, CHANGES)
        newest_s = (time.perf_counter() - began) / 20

        def halfway() -> int:
            session.expire_all()
            return shown(session, long_book.slug, CHANGES // 2)

        benchmark(halfway)
    if benchmark.stats is not None:
        benchmark.extra_info["ratio to the newest"] = round(benchmark.stats.stats.median / newest_s, 2)
