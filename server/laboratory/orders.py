"""Standing orders: local text of the laboratory or of one cryostat, in versions, read before all else."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server.errors import Conflict, Refused
from server.history import service as history
from server.laboratory.order_models import StandingOrder
from server.web.texts import NOT_TEXT

LABORATORY = "laboratory"
LONGEST = 8000
_MEANWHILE = "Somebody wrote version {} meanwhile; look at it, then store yours again."


def versions(session: Session, scope: str) -> Sequence[StandingOrder]:
    """Every version in this scope, newest first."""
    query = select(StandingOrder).where(StandingOrder.scope == scope)
    return session.exec(query.order_by(col(StandingOrder.number).desc())).all()


def newest(session: Session, scope: str) -> StandingOrder | None:
    """The version that holds, or None."""
    query = select(StandingOrder).where(StandingOrder.scope == scope)
    return session.exec(query.order_by(col(StandingOrder.number).desc()).limit(1)).first()


def applying(session: Session, scope: str) -> tuple[StandingOrder, ...]:
    """What holds here: the laboratory's order, then that of `scope`. One taken back is left out."""
    found = [newest(session, name) for name in dict.fromkeys((LABORATORY, scope))]
    return tuple(row for row in found if row is not None and row.text)


def write(
    session: Session, author: history.Author, scope: str, text: str, after: int, at: datetime
) -> StandingOrder:
    """Store the version after number `after`; Conflict when somebody wrote that one first."""
    last = newest(session, scope)
    number = last.number if last else 0
    text = text.replace("\r\n", "\n").strip()
    if after != number:
        raise Conflict(_MEANWHILE.format(number))
    found = _faults(text, last)
    if found:
        raise Refused("The standing order was not stored.", {"text": found})
    row = StandingOrder(
        scope=scope, number=number + 1, text=text, at=at, by_name=author.name, by_id=author.id
    )
    session.add(row)
    try:
        session.flush()
    except IntegrityError as problem:
        raise Conflict(_MEANWHILE.format(number + 1)) from problem
    words = "written" if text else "taken back"
    history.note(session, author, scope, f"Standing order {words}, version {row.number}", at)
    return row


def _faults(text: str, last: StandingOrder | None) -> str:
    if len(text) > LONGEST:
        return f"Keep the order within {LONGEST} characters"
    if NOT_TEXT.search(text):
        return "Write the order without control characters"
    if text == (last.text if last else ""):
        return "Nothing differs from what holds now"
    return ""
