"""An element that says which part it is: the part is there, fit to be inside, and in no other place."""

from collections.abc import Mapping

from sqlmodel import Session, col, select

from server.cryostats.models import Cryostat, ElementRow
from server.cryostats.part_models import Part, PartLoan, PartReturn
from server.cryostats.part_rules import BROKEN, ON_LOAN, RETIRED, STATES
from server.cryostats.rules import Change, Put, applied


def faults(
    session: Session, cryostat: Cryostat, change: Change, present: Mapping[str, Put]
) -> dict[str, str]:
    """What the change gets wrong about parts. An element whose part stays as it was is not asked again."""
    after = applied(present, change)
    pointing = {
        number: put
        for number, put in enumerate(change.put)
        if put.part and (put.key not in present or present[put.key].part != put.part)
    }
    if not pointing:
        return {}
    tags = [put.part for put in pointing.values()]
    known = _held(session, tags)
    elsewhere = _lent(session, cryostat, tags) | _elsewhere(session, cryostat, tags)
    found = {}
    for number, put in pointing.items():
        wrong = _fault(put, known.get(put.part), elsewhere.get(put.part), after)
        if wrong:
            found[f"put.{number}.part"] = wrong
    return found


def _held(session: Session, tags: list[str]) -> dict[str, Part]:
    """The parts of these tags, which nobody else puts anywhere or lends until this transaction ends."""
    query = select(Part).where(col(Part.tag).in_(tags)).order_by(col(Part.id)).with_for_update()
    rows = session.exec(query.execution_options(populate_existing=True)).all()
    return {row.tag: row for row in rows}


def _fault(put: Put, part: Part | None, elsewhere: str | None, after: Mapping[str, Put]) -> str:
    if part is None:
        return f"There is no part “{put.part[:40]}”; enter it among the parts first, or leave this empty"
    if part.state in (BROKEN, RETIRED):
        return f"Part {part.tag} is {STATES[part.state]}; say first that it is not"
    if elsewhere:
        return f"Part {part.tag} is {elsewhere}"
    other = next((row.key for row in after.values() if row.part == put.part and row.key != put.key), None)
    return f"Part {part.tag} is element “{other}” already" if other else ""


def _elsewhere(session: Session, cryostat: Cryostat, tags: list[str]) -> dict[str, str]:
    """Tag → the other cryostat it is inside now, in words."""
    query = (
        select(ElementRow.part, Cryostat.name)
        .join(Cryostat, col(Cryostat.id) == col(ElementRow.cryostat_id))
        .where(
            col(ElementRow.part).in_(tags),
            col(ElementRow.to_revision).is_(None),
            ElementRow.cryostat_id != cryostat.id,
        )
    )
    return {tag: f"inside {name}; take it out there first" for tag, name in session.exec(query).all()}


def _lent(session: Session, cryostat: Cryostat, tags: list[str]) -> dict[str, str]:
    """Tag → with whom it is, for parts lent to anywhere but this cryostat."""
    query = (
        select(Part.tag, PartLoan.to_whom)
        .join(PartLoan, col(PartLoan.part_id) == col(Part.id))
        .join(PartReturn, col(PartReturn.loan_id) == col(PartLoan.id), isouter=True)
        .where(
            col(Part.tag).in_(tags),
            Part.state == ON_LOAN,
            col(PartReturn.id).is_(None),
            col(PartLoan.to_cryostat_id).is_distinct_from(cryostat.id),
        )
    )
    return {
        tag: f"on loan to {whom}; enter first that it came back" for tag, whom in session.exec(query).all()
    }
