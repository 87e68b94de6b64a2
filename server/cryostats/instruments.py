"""The instrument itself: made, described, its cooler measured, its state entered, grades given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, func, select

from server.cryostats import budget, draft_budgets, rules, window
from server.cryostats.models import CoolerVersion, Cryostat, Grade, StateEntry
from server.errors import Conflict, NotFound, Refused
from server.history import service as history
from server.people.models import Person


@dataclass(frozen=True)
class About:
    """What a steward enters of an instrument. Temperatures in K; `stages` from the vessel inwards."""

    name: str
    place: str
    stages: tuple[str, ...]
    limits_K: Mapping[str, float]
    vessel_K: float = 295.0


def subject(cryostat: Cryostat) -> str:
    """How history names it."""
    return f"cryostat/{cryostat.slug}"


def all_of(session: Session) -> Sequence[Cryostat]:
    """All cryostats, by name."""
    return session.exec(select(Cryostat).order_by(Cryostat.name)).all()


def make(session: Session, author: history.Author, about: About, at: datetime) -> Cryostat:
    """A new cryostat with an empty configuration, revision 0."""
    _refuse_bad(about)
    taken = session.exec(select(Cryostat.slug)).all()
    cryostat = Cryostat(
        slug=rules.slug_of(about.name, taken),
        name=about.name.strip(),
        place=about.place.strip(),
        stages=list(about.stages),
        limits_K=dict(about.limits_K),
        vessel_K=about.vessel_K,
        made_at=at,
    )
    session.add(cryostat)
    try:
        session.flush()
    except IntegrityError as problem:
        raise Conflict(
            f"Somebody entered a cryostat “{cryostat.slug}” just now; look at the list."
        ) from problem
    history.note(session, author, subject(cryostat), f"{cryostat.name} entered in the book", at)
    return cryostat


def describe(
    session: Session, author: history.Author, cryostat: Cryostat, about: About, at: datetime
) -> None:
    """Store a new description; the budget of the present revision is computed again."""
    _refuse_bad(about)
    before = cryostat.model_dump(mode="json")
    cryostat.name, cryostat.place = about.name.strip(), about.place.strip()
    cryostat.stages, cryostat.limits_K = list(about.stages), dict(about.limits_K)
    cryostat.vessel_K = about.vessel_K
    session.add(cryostat)
    budget.store(session, cryostat, cryostat.revision, at)
    history.note(session, author, subject(cryostat), "Description altered", at, {"before": before})


def _refuse_bad(about: About) -> None:
    found = {}
    if not about.name.strip():
        found["name"] = "Enter the cryostat's name"
    known = [stage for stage in rules.STAGES if stage in about.stages]
    if list(about.stages) != known or known[:1] != ["vessel"] or len(known) < 2:
        found["stages"] = "Choose the stages there are, besides the vessel at least one"
    for stage, limit_K in about.limits_K.items():
        if not 0 < limit_K <= 400:
            found[f"limit.{stage}"] = "A limit must lie between 0 and 400 K"
    if not 250 <= about.vessel_K <= 350:
        found["vessel_K"] = "The vessel must lie between 250 and 350 K"
    if found:
        raise Refused("The cryostat was not stored.", found)


def cooler_versions(session: Session, cryostat: Cryostat) -> Sequence[CoolerVersion]:
    """All versions, newest first."""
    query = select(CoolerVersion).where(CoolerVersion.cryostat_id == cryostat.id)
    return session.exec(query.order_by(col(CoolerVersion.number).desc())).all()


def measure_cooler(
    session: Session,
    author: history.Author,
    cryostat: Cryostat,
    data: Mapping[str, Any],
    bare_revision: int | None,
    note: str,
    at: datetime,
) -> CoolerVersion:
    """Enter the cooler as it was measured; the present revision's budget is computed again with it."""
    found = budget.cooler_faults(cryostat, data)
    if bare_revision is not None and not 0 <= bare_revision <= cryostat.revision:
        found["bare_revision"] = f"Enter a revision from 0 to {cryostat.revision}"
    if found:
        raise Refused("The cooler was not stored.", found)
    last = session.exec(
        select(func.max(CoolerVersion.number)).where(CoolerVersion.cryostat_id == cryostat.id)
    ).one()
    assert cryostat.id is not None
    row = CoolerVersion(
        cryostat_id=cryostat.id,
        number=(last or 0) + 1,
        data=dict(data),
        bare_revision=bare_revision,
        note=note.strip(),
        at=at,
        by_name=author.name,
        by_id=author.id,
    )
    session.add(row)
    session.flush()
    budget.store(session, cryostat, cryostat.revision, at)
    draft_budgets.refresh(session, cryostat, at)
    history.note(session, author, subject(cryostat), f"Cooler entered, version {row.number}", at)
    return row


def state_now(session: Session, cryostat: Cryostat) -> StateEntry | None:
    """The state people entered last, by the time it began."""
    query = select(StateEntry).where(StateEntry.cryostat_id == cryostat.id)
    return session.exec(
        query.order_by(col(StateEntry.since).desc(), col(StateEntry.id).desc()).limit(1)
    ).first()


def states_now(session: Session) -> Mapping[int, StateEntry]:
    """Cryostat key → the state now, for all cryostats in one query."""
    rank = (
        func.row_number()
        .over(
            partition_by=col(StateEntry.cryostat_id),
            order_by=(col(StateEntry.since).desc(), col(StateEntry.id).desc()),
        )
        .label("rank")
    )
    ranked = select(StateEntry.id, rank).subquery()
    query = select(StateEntry).join(ranked, ranked.c.id == StateEntry.id).where(ranked.c.rank == 1)
    return {row.cryostat_id: row for row in session.exec(query).all()}


def enter_state(
    session: Session,
    author: history.Author,
    cryostat: Cryostat,
    state: str,
    since: datetime,
    note: str,
    at: datetime,
    *,
    own: bool = False,
) -> StateEntry:
    """Write down what state it is in, and since when. An earlier entry stays as it is.

    Whoever warms or opens what is cold is held to the table of the cold window; Forbidden where it says no.
    `own` says that the cold window is theirs, where a room above knows.
    """
    found = rules.text_faults("note", "the note", note, rules.LONGEST_NOTE)
    if state not in rules.STATES:
        found["state"] = "Choose one of the states"
    if since > at:
        found["since"] = "A state begins in the past or now"
    if since.year < rules.EARLIEST_YEAR:
        found["since"] = f"Enter a time after {rules.EARLIEST_YEAR}"
    if found:
        raise Refused("The state was not stored.", found)
    if isinstance(author, Person):
        leave = window.Leave(state, since, note, own)
        window.need_leave_cold(session, author, cryostat, leave)
    assert cryostat.id is not None
    row = StateEntry(
        cryostat_id=cryostat.id,
        state=state,
        since=since,
        note=note.strip(),
        recorded_at=at,
        by_name=author.name,
        by_id=author.id,
    )
    session.add(row)
    history.note(
        session, author, subject(cryostat), f"State: {rules.STATES[state]}", at, {"note": note.strip()}
    )
    return row


def give_grade(
    session: Session, author: history.Author, cryostat: Cryostat, person: Person, grade: int, at: datetime
) -> None:
    """Set what a person may do on this cryostat."""
    if grade not in rules.GRADES:
        raise Refused("The grade was not stored.", {"grade": "A grade is 0 to 4"})
    if not person.active:
        raise NotFound("This person has no active account.")
    query = select(Grade).where(Grade.cryostat_id == cryostat.id, Grade.person_id == person.id)
    row = session.exec(query).first()
    if row is None:
        assert cryostat.id is not None
        assert person.id is not None
        row = Grade(cryostat_id=cryostat.id, person_id=person.id, grade=grade, at=at)
    row.grade, row.at = grade, at
    session.add(row)
    line = f"{person.name}: grade {grade} ({rules.GRADES[grade]})"
    history.note(session, author, subject(cryostat), line, at)


def recompute(session: Session, author: history.Author, cryostat: Cryostat, at: datetime) -> int:
    """Store anew the budgets of what is inside and of open drafts where model or cooler moved on; how many.

    The older ones stay, so that what was predicted then can still be read.
    """
    number = budget.refresh(session, cryostat, at) + draft_budgets.refresh(session, cryostat, at)
    if number:
        history.note(session, author, subject(cryostat), f"Heat budgets computed anew: {number}", at)
    return number


def recompute_all(session: Session, author: history.Author, at: datetime) -> int:
    """The same for every cryostat."""
    rows = session.exec(select(Cryostat).order_by(col(Cryostat.id))).all()
    return sum(recompute(session, author, row, at) for row in rows)
