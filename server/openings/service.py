"""Openings: begun, every step written down, taken back, read again by rooms that count from them."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, func, select

from server.checklists import service as checklists
from server.cryostats import drafts, guards
from server.cryostats.draft_rules import BUILT as DRAFT_BUILT
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, REWIRE, text_faults
from server.errors import Conflict, Forbidden, NotFound, Refused
from server.openings import bill, effects, kinds, rules
from server.openings.effects import NOT_STORED
from server.openings.finding import Sheet, find, locked, openings_of, sheet, under_way
from server.openings.models import Opening, OpeningEntry
from server.openings.rules import Fact, Usual
from server.openings.writing import Written, note, write
from server.people.models import Person

__all__ = [
    "Fact",
    "Usual",
    "Written",
    "begin_list",
    "durations",
    "enter",
    "facts_since",
    "find",
    "openings_of",
    "start",
    "take_back",
    "under_way",
]
LISTS = ("before-warming", "before-closing")
LAST = 20


def start(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    why: str,
    now: datetime,
    draft_id: int | None = None,
    reservations: Sequence[int] = (),
) -> Sheet:
    """A slip, from an approved draft or from nothing. `reservations` are promises to take from first.

    Conflict while another one has not ended, or where the draft may not go in.
    """
    cryostat = guards.find(session, cryostat.slug, lock=True)
    guards.need(session, person, cryostat, OPEN)
    assert cryostat.id is not None
    present = under_way(session, cryostat.id)
    if present is not None:
        raise Conflict(f"Opening {present.number} of {cryostat.name} has not ended; go on with that one.")
    wrong = rules.why_faults(why)
    if wrong:
        raise Refused("The slip was not begun.", wrong)
    version = _draft_version(session, person, cryostat, draft_id, now)
    newest = session.exec(select(func.max(Opening.number)).where(Opening.cryostat_id == cryostat.id)).one()
    row = Opening(
        cryostat_id=cryostat.id,
        number=(newest or 0) + 1,
        why=why.strip(),
        draft_id=draft_id,
        draft_version=version,
        reservations=list(reservations),
        base_revision=cryostat.revision,
        begun_at=now,
        recorded_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    note(session, person, cryostat, row, f"slip begun. {row.why}", now)
    return sheet(session, cryostat, row)


def _draft_version(
    session: Session, person: Person, cryostat: Cryostat, draft_id: int | None, now: datetime
) -> int | None:
    """The version that goes in; Conflict where it may not, Forbidden below the grade it asks for."""
    if draft_id is None:
        return None
    found = drafts.find(session, draft_id, at=now)
    if found.draft.cryostat_id != cryostat.id:
        raise NotFound(f"{cryostat.name} has no draft {draft_id}.")
    if not found.standing.buildable and found.standing.state != DRAFT_BUILT:
        raise Conflict(f"{found.draft.name} is {found.standing.words}; it cannot go in yet.")
    guards.need(session, person, cryostat, OPEN if found.draft.house else REWIRE)
    return found.version.number


def enter(
    session: Session, person: Person, slug: str, number: int, wish: Written, now: datetime
) -> OpeningEntry:
    """Write a step or an entry on a slip, with all that follows from it.

    Conflict in the wrong phase, Forbidden below the grade, Refused with the fields to mend.
    """
    kind = kinds.KINDS.get(wish.kind)
    if kind is None or wish.kind == kinds.LIST:
        raise Refused(NOT_STORED, {"kind": "Choose one of the steps"})
    found = locked(session, person, slug, number, kind.grade)
    _need_phase(found, wish.kind)
    if wish.faults:
        raise Refused(NOT_STORED, wish.faults)
    if wish.kind == kinds.VENT:
        wish = replace(wish, data=effects.vent_data(session, found, dict(wish.data)))
    _check(session, found, wish, now)
    row = write(session, person, found.opening, _completed(session, person, found, wish, now), now)
    effects.follow(session, person, found, row, now)
    session.flush()
    line = f"{kind.label.lower()}. {row.note}".strip()
    note(session, person, found.cryostat, found.opening, line, now)
    return row


def _need_phase(found: Sheet, kind: str) -> None:
    allowed = kinds.KINDS[kind].phases
    if found.phase not in allowed:
        what = kinds.KINDS[kind].label
        raise Conflict(f"Opening {found.opening.number} is {kinds.PHASES[found.phase]}: not now: “{what}”.")


def _check(session: Session, found: Sheet, wish: Written, now: datetime) -> None:
    wrong = rules.entry_faults(wish.kind, wish.data, wish.note)
    step = kinds.KINDS[wish.kind].step
    earliest = rules.newest_moment(found.opening, found.counting) if step else None
    if wish.at is None:
        # What is entered as it happens may come a moment after another person's clock.
        earliest = None
    wrong |= rules.time_faults(wish.at or now, now, earliest)
    if wish.kind == kinds.CLOSE:
        wrong |= effects.close_faults(session, found, dict(wish.data))
    if wrong:
        raise Refused(NOT_STORED, wrong)


def _completed(session: Session, person: Person, found: Sheet, wish: Written, now: datetime) -> Written:
    """The entry with what the program itself adds to it."""
    if wish.kind == kinds.BUILT:
        return replace(wish, data=effects.built_data(session, found))
    if wish.kind != kinds.USED:
        return wish
    said = wish.data.get("amounts", {})
    amounts = bill.amounts_read(session, said if isinstance(said, dict) else {"": ""})
    if not amounts and not wish.note.strip():
        raise Refused(NOT_STORED, {"note": "Enter an amount, or say in the note that nothing was used"})
    return replace(wish, data={"items": bill.draw(session, person, found, amounts, now)})


def begin_list(session: Session, person: Person, slug: str, number: int, list_key: str, now: datetime) -> str:
    """The address of a checklist of this slip; one that was begun already is gone on with."""
    if list_key not in LISTS:
        raise NotFound("There is no such checklist for an opening.")
    found = locked(session, person, slug, number, OPEN)
    key = effects.listed(found, list_key)
    if key is not None:
        return checklists.address(checklists.find(session, key))
    _need_phase(found, kinds.LIST)
    made = checklists.start(session, person, found.cryostat, list_key, f"opening {number}", now)
    data: dict[str, Any] = {"list": list_key, "checklist": made.id}
    write(session, person, found.opening, Written(kinds.LIST, data, now), now)
    return checklists.address(made)


def take_back(
    session: Session, person: Person, slug: str, number: int, entry_id: int, reason: str, now: datetime
) -> OpeningEntry:
    """An entry no longer counts, and stays to be seen; what it drew goes back into the stock room's book."""
    found = locked(session, person, slug, number, OPEN)
    entry = next((row for row in found.entries if row.id == entry_id), None)
    if entry is None:
        raise NotFound(f"Opening {number} has no such entry.")
    if entry.kind not in kinds.KINDS or kinds.KINDS[entry.kind].step:
        raise Refused("A step stays as it was written; put a note beside it.")
    if entry.by_id != person.id and not person.steward:
        raise Forbidden(f"Only {entry.by_name}, who wrote it, or a steward may take it back.")
    if entry not in found.counting:
        raise Conflict("It is taken back already.")
    wrong = text_faults("reason", "the reason", reason, rules.LONGEST_TEXT)
    if not reason.strip():
        wrong["reason"] = "Enter why it does not count"
    if wrong:
        raise Refused("Nothing was taken back.", wrong)
    if entry.kind == kinds.USED:
        bill.give_back(session, person, entry, reason.strip(), now)
    note(session, person, found.cryostat, found.opening, f"an entry taken back. {reason.strip()}", now)
    wish = Written(kinds.TAKEN_BACK, {}, now, reason)
    return write(session, person, found.opening, wish, now, takes_back=entry_id)


def facts_since(session: Session, cryostat_id: int, since: datetime) -> list[Fact]:
    """What openings did here after `since`, the oldest first: rings greased, screws tightened; one query.

    What was taken back is left out.
    """
    gone = select(OpeningEntry.takes_back).where(col(OpeningEntry.takes_back).is_not(None))
    query = (
        select(OpeningEntry)
        .join(Opening, col(Opening.id) == col(OpeningEntry.opening_id))
        .where(
            Opening.cryostat_id == cryostat_id,
            OpeningEntry.at > since,
            col(OpeningEntry.kind).in_(rules.FACT_KINDS),
            col(OpeningEntry.id).not_in(gone),
        )
    )
    rows = session.exec(query.order_by(col(OpeningEntry.at), col(OpeningEntry.id))).all()
    return [fact for row in rows for fact in rules.facts_of(row.opening_id, row)]


def durations(session: Session, cryostat_id: int, last: int = LAST) -> dict[str, Usual]:
    """Phase (`vent`, `refit`, `close`, `pump`) → how many seconds it usually takes, of the last openings.

    A phase that was never gone through is left out.
    """
    query = select(Opening).where(Opening.cryostat_id == cryostat_id, col(Opening.closed_at).is_not(None))
    rows = session.exec(query.order_by(col(Opening.number).desc()).limit(last)).all()
    found: dict[str, list[float]] = {}
    for row in rows:
        for name, took_s in rules.took(row).items():
            found.setdefault(name, []).append(took_s)
    return {name: band for name, values in found.items() if (band := rules.usual(values)) is not None}
