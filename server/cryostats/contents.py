"""What is in a cryostat at a revision: the rows that came with it or before, and have not left."""

from datetime import date, datetime, timedelta

from sqlmodel import Session, col, or_, select

from server.cryostats.models import Cryostat, ElementRow, Revision
from server.cryostats.rules import Put
from server.laboratory import service as laboratory


def put_of(row: ElementRow) -> Put:
    """The row as a rule sees it."""
    return Put(row.key, row.kind, row.data, row.label, row.note, row.house, row.part)


def elements(session: Session, cryostat: Cryostat, revision: int) -> dict[str, Put]:
    """The elements of a revision, by key, in the order they came in. One query, whatever the age."""
    query = select(ElementRow).where(
        ElementRow.cryostat_id == cryostat.id,
        ElementRow.from_revision <= revision,
        or_(col(ElementRow.to_revision).is_(None), col(ElementRow.to_revision) > revision),
    )
    rows = session.exec(query.order_by(col(ElementRow.from_revision), col(ElementRow.id))).all()
    return {row.key: put_of(row) for row in rows}


def since(session: Session, cryostat: Cryostat, revision: int) -> dict[int, dict[str, Put]]:
    """The elements of every revision from `revision` to the newest. One query, however many there are."""
    query = select(ElementRow).where(
        ElementRow.cryostat_id == cryostat.id,
        or_(col(ElementRow.to_revision).is_(None), col(ElementRow.to_revision) > revision),
    )
    rows = session.exec(query.order_by(col(ElementRow.from_revision), col(ElementRow.id))).all()
    return {
        number: {row.key: put_of(row) for row in rows if _there(row, number)}
        for number in range(revision, cryostat.revision + 1)
    }


def revision_at(session: Session, cryostat: Cryostat, moment: datetime) -> int:
    """The number of the revision that stood at `moment`; 0 before the first."""
    query = select(Revision.number).where(
        Revision.cryostat_id == cryostat.id, col(Revision.done_at) <= moment
    )
    return session.exec(query.order_by(col(Revision.number).desc()).limit(1)).first() or 0


def revision_on(session: Session, cryostat: Cryostat, day: date) -> int:
    """The number of the revision that stood when `day` ended in the laboratory."""
    return revision_at(session, cryostat, laboratory.end_of(session, day) - timedelta(microseconds=1))


def _there(row: ElementRow, revision: int) -> bool:
    return row.from_revision <= revision and (row.to_revision is None or row.to_revision > revision)
