"""The lists of a cryostat in versions: the program's own to begin with, then as the steward words them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from server.checklists.lines import Line, as_json, from_json
from server.checklists.models import ListVersion
from server.checklists.own_words import LISTS, List
from server.checklists.rules import list_faults
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import STEWARD
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.people.models import Person

BEGIN = "As the program brings it"


@dataclass(frozen=True)
class Wanted:
    """A list as somebody wants it after version number `after`, and why."""

    lines: Sequence[Line]
    reason: str
    after: int


def about(list_key: str) -> List:
    """What a list is for; NotFound."""
    found = LISTS.get(list_key)
    if found is None:
        raise NotFound("There is no such checklist.")
    return found


def versions(session: Session, cryostat: Cryostat, list_key: str) -> Sequence[ListVersion]:
    """Every stored version, the newest first."""
    query = select(ListVersion).where(
        ListVersion.cryostat_id == cryostat.id, ListVersion.list_key == list_key
    )
    return session.exec(query.order_by(col(ListVersion.number).desc())).all()


def newest(session: Session, cryostat: Cryostat, list_key: str) -> ListVersion:
    """The version that holds; before anybody used or altered it the program's own, not stored yet."""
    own = about(list_key)
    query = select(ListVersion).where(
        ListVersion.cryostat_id == cryostat.id, ListVersion.list_key == list_key
    )
    found = session.exec(query.order_by(col(ListVersion.number).desc()).limit(1)).first()
    assert cryostat.id is not None
    return found or ListVersion(
        cryostat_id=cryostat.id,
        list_key=list_key,
        number=1,
        lines=[as_json(line) for line in own.lines],
        reason=BEGIN,
        at=cryostat.made_at,
        by_name="Coldstead",
    )


def stored(session: Session, cryostat: Cryostat, list_key: str) -> ListVersion:
    """The version that holds, stored; asked under the cryostat's lock."""
    found = newest(session, cryostat, list_key)
    if found.id is None:
        session.add(found)
        session.flush()
    return found


def lines_of(version: ListVersion) -> list[Line]:
    """Its lines."""
    return [from_json(row) for row in version.lines]


def alter(
    session: Session,
    person: Person,
    slug: str,
    list_key: str,
    wanted: Wanted,
    now: datetime,
    unread: Mapping[str, str] | None = None,
) -> ListVersion:
    """Store the version after number `wanted.after`. What was answered by an earlier one stays as it is."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    last = stored(session, cryostat, list_key)
    if last.number != wanted.after:
        raise Conflict(f"Somebody stored version {last.number} meanwhile; look at it, then alter that one.")
    wrong = list_faults(list_key, wanted.lines, wanted.reason) | dict(unread or {})
    kept = [as_json(line) for line in wanted.lines]
    if not wrong and kept == last.lines:
        wrong["reason"] = "Nothing differs from what holds now"
    if wrong:
        raise Refused("The list was not stored.", wrong)
    row = ListVersion(
        cryostat_id=last.cryostat_id,
        list_key=list_key,
        number=last.number + 1,
        lines=kept,
        reason=wanted.reason.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"Checklist “{about(list_key).title}”, version {row.number}: {row.reason}"
    history.note(session, person, f"cryostat/{slug}", line, now)
    return row
