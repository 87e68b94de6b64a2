"""The cold window of a cryostat: its table of who may change what, and holding a change to it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session, col, select

from server.cryostats import guards, window_rules
from server.cryostats.draft_models import Draft, DraftStep, DraftVersion
from server.cryostats.draft_rules import BUILT
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.rules import STEWARD, Change, Put, moment_faults
from server.cryostats.window_models import WindowRule
from server.cryostats.window_rules import Line, Way
from server.errors import Forbidden, NotFound, Refused
from server.history import service as history
from server.people.models import Person

CELLS_KEPT = (*window_rules.GRADE_COLUMNS, "record")


def lines(session: Session, cryostat: Cryostat) -> tuple[Line, ...]:
    """The table as it holds now: every line as it begins, or as a steward wrote it last."""
    query = select(WindowRule).where(WindowRule.cryostat_id == cryostat.id)
    written = {row.what: row for row in session.exec(query.order_by(col(WindowRule.id))).all()}
    return tuple(_line(line, written.get(line.what)) for line in window_rules.DEFAULTS)


def _line(line: Line, row: WindowRule | None) -> Line:
    if row is None:
        return line
    return replace(line, operate=row.operate, open=row.open, rewire=row.rewire, record=row.record)


def write(
    session: Session, person: Person, slug: str, what: str, said: Mapping[str, str], at: datetime
) -> Line:
    """Store one line of the table; only a steward may."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    before = next((line for line in lines(session, cryostat) if line.what == what), None)
    if before is None:
        raise NotFound("The table has no such line.")
    line = replace(
        before,
        operate=said.get("operate", before.operate),
        open=said.get("open", before.open),
        rewire=said.get("rewire", before.rewire),
        record=said.get("record", before.record),
    )
    found = window_rules.faults(line)
    if line == before:
        found["operate"] = "Nothing differs from what holds now"
    if found:
        raise Refused("The line was not stored.", {f"{what}.{name}": text for name, text in found.items()})
    assert cryostat.id is not None
    cells = {name: getattr(line, name) for name in CELLS_KEPT}
    session.add(
        WindowRule(cryostat_id=cryostat.id, what=what, at=at, by_name=person.name, by_id=person.id, **cells)
    )
    words = f"Cold window: “{line.words}” is now decided otherwise"
    was = {name: getattr(before, name) for name in CELLS_KEPT}
    history.note(session, person, f"cryostat/{slug}", words, at, {"before": was, "after": cells})
    return line


def state_at(session: Session, cryostat: Cryostat, moment: datetime) -> str:
    """The state it was in at a moment, as people entered it; empty before the first entry."""
    query = select(StateEntry.state).where(
        StateEntry.cryostat_id == cryostat.id, col(StateEntry.since) <= moment
    )
    newest = query.order_by(col(StateEntry.since).desc(), col(StateEntry.id).desc()).limit(1)
    return session.exec(newest).first() or ""


def need_let(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    change: Change,
    present: Mapping[str, Put],
    at: datetime,
    way: Way,
) -> None:
    """Forbidden when the cryostat was cold at the time of the change and its table says no."""
    done_at = change.done_at or at
    if moment_faults(done_at, at) or state_at(session, cryostat, done_at) != window_rules.COLD:
        # A time at which nothing can have been done is refused with the change's other faults.
        return
    kinds = window_rules.kinds_of_change(change, present)
    touched = [line for line in lines(session, cryostat) if line.what in kinds]
    grade = guards.grade_of(session, person, cryostat)
    why = window_rules.refusal(touched, grade, way, cryostat.name)
    if why:
        raise Forbidden(why)


@dataclass(frozen=True)
class Leave:
    """A state somebody enters; `own` where the cold window is known to be theirs."""

    state: str
    since: datetime
    note: str
    own: bool = False


def need_leave_cold(session: Session, person: Person, cryostat: Cryostat, leave: Leave) -> None:
    """Forbidden where the table keeps a person from warming or opening what is cold at `since`.

    A steward may end anybody's cold window, and writes why; Refused without.
    """
    if not window_rules.ends_window(state_at(session, cryostat, leave.since), leave.state):
        return
    own = leave.own or _own_inside(session, person, cryostat)
    grade = guards.grade_of(session, person, cryostat)
    line = next(row for row in lines(session, cryostat) if row.what == window_rules.WARM)
    why = window_rules.warm_refusal(line, grade, cryostat.name, own=own)
    if why:
        raise Forbidden(why)
    if grade >= STEWARD and not own and not leave.note.strip():
        words = f"{cryostat.name} is cold and what is inside is not yours; enter why it is warmed or opened"
        raise Refused("The state was not stored.", {"note": words})


def _own_inside(session: Session, person: Person, cryostat: Cryostat) -> bool:
    """Whether the draft that was built last is the person's, or shared with them."""
    query = (
        select(Draft, DraftVersion)
        .join(DraftStep, col(DraftStep.draft_id) == col(Draft.id))
        .join(
            DraftVersion,
            (col(DraftVersion.draft_id) == col(Draft.id)) & (col(DraftVersion.number) == DraftStep.version),
        )
        .where(Draft.cryostat_id == cryostat.id, DraftStep.what == BUILT)
    )
    found = session.exec(query.order_by(col(DraftStep.id).desc()).limit(1)).first()
    if found is None:
        return False
    draft, version = found
    return person.id in (draft.by_id, *(row["id"] for row in version.parties))
