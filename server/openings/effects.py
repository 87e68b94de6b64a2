"""What follows from an entry: moments, the cryostat's state, counters, dirt, the stock room, parts."""

from datetime import datetime
from typing import Any

from sqlmodel import Session

from server.checklists import service as checklists
from server.checklists.rules import DONE, FAILED
from server.cryostats import contents, counters, dirt, draft_budgets, drafts, instruments, part_rules, parts
from server.cryostats import rules as cryostat_rules
from server.cryostats.dirt_rules import Said
from server.errors import NotFound, Refused
from server.laboratory import service as laboratory
from server.openings import bill, kinds, rules
from server.openings.finding import Sheet
from server.openings.models import OpeningEntry
from server.openings.writing import Written, write
from server.people.models import Person

ASKED_BY_LIST = {"all-warm": "coldest_K", "oxygen": "oxygen", "relief-free": "relief_free"}
"""Line of the list before warming → field of the slip: what was answered there is not asked again."""
NOT_STORED = "Nothing was written down."


def listed(sheet: Sheet, list_key: str) -> int | None:
    """The key of the checklist of this slip, where one was begun."""
    rows = [row for row in sheet.counting if row.kind == kinds.LIST and row.data["list"] == list_key]
    return int(rows[-1].data["checklist"]) if rows else None


def vent_data(session: Session, sheet: Sheet, data: dict[str, Any]) -> dict[str, Any]:
    """What venting asks; what is not said here is taken from the list before warming.

    Refused where that list says of one of the three that it is not right.
    """
    number = listed(sheet, "before-warming")
    answers = checklists.answers(session, [number])[number] if number is not None else {}
    wrong, found = {}, dict(data)
    for line, name in ASKED_BY_LIST.items():
        answer = answers.get(line)
        if answer is not None and answer.outcome == FAILED:
            wrong[name] = f"The list before warming says that it is not right: {answer.words}"
        elif answer is not None and answer.outcome == DONE and found.get(name) in (None, "", False):
            found[name] = answer.record.get("value", True)
    if wrong:
        raise Refused(NOT_STORED, wrong)
    return found


def built_data(session: Session, sheet: Sheet) -> dict[str, Any]:
    """The configuration as it is now, against the approved draft of the slip, or what it was before."""
    cryostat, opening = sheet.cryostat, sheet.opening
    present = contents.elements(session, cryostat, cryostat.revision)
    found: dict[str, Any] = {"revision": cryostat.revision}
    if opening.draft_id is not None and opening.draft_version is not None:
        draft = drafts.find(session, opening.draft_id).draft
        row = drafts.version(session, draft, opening.draft_version)
        wanted = draft_budgets.intended(session, cryostat, row)
        found["against_draft"] = cryostat_rules.difference(wanted, present).words
    before = contents.elements(session, cryostat, opening.base_revision)
    found["since_begun"] = cryostat_rules.difference(before, present).words
    return found


def close_faults(session: Session, sheet: Sheet, data: dict[str, Any]) -> dict[str, str]:
    """What is still missing before it may be written down as closed."""
    found, rows = {}, sheet.counting
    built = rules.last(rows, kinds.BUILT)
    if built is None:
        found["built"] = "Record the configuration as built first"
    elif built.data["revision"] != sheet.cryostat.revision:
        found["built"] = f"Revision {sheet.cryostat.revision} was logged since; record it as built again"
    tray = rules.tray_words(rows)
    if tray:
        found["tray"] = tray
    number = listed(sheet, "before-closing")
    complete = number is not None and checklists.standing(session, number).complete
    if not complete and not rules.words_enough(str(data.get("list_words", ""))):
        words = "Go through the list before closing, or say in two words at least why it is left out"
        found["list_words"] = words
    return found


def follow(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    """Do what an entry that was written entails."""
    act = FOLLOWS.get(entry.kind)
    if act is not None:
        act(session, person, sheet, entry, now)
        session.add(sheet.opening)


def _state(
    session: Session, person: Person, sheet: Sheet, state: str, entry: OpeningEntry, words: str, now: datetime
) -> None:
    note = f"Opening {sheet.opening.number}: {words}"
    own = _own_draft(session, person, sheet)
    instruments.enter_state(session, person, sheet.cryostat, state, entry.at, note, now, own=own)


def _own_draft(session: Session, person: Person, sheet: Sheet) -> bool:
    if sheet.opening.draft_id is None:
        return False
    found = drafts.find(session, sheet.opening.draft_id)
    return person.id == found.draft.by_id or person.id in drafts.party_keys(found)


def _vent(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    sheet.opening.vented_at = entry.at
    _state(session, person, sheet, "open", entry, f"{entry.data['gas']} let in", now)


def _lid_off(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    sheet.opening.opened_at = entry.at
    counters.count(session, person, sheet.cryostat, "openings", entry.at, now)
    counters.hands_on(session, sheet.cryostat, entry.at, person)


def _park(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    sheet.opening.parked_at = entry.at
    _state(session, person, sheet, "parked", entry, "blank lid on, rough pumped", now)


def _again(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    sheet.opening.parked_at = None
    counters.hands_on(session, sheet.cryostat, entry.at, person)
    _state(session, person, sheet, "open", entry, "blank lid off again", now)


def _built(_session: Session, _person: Person, sheet: Sheet, entry: OpeningEntry, _now: datetime) -> None:
    sheet.opening.built_at = entry.at


def _off(_session: Session, _person: Person, sheet: Sheet, entry: OpeningEntry, _now: datetime) -> None:
    sheet.opening.ended_at = entry.at


def _pumped(_session: Session, _person: Person, sheet: Sheet, entry: OpeningEntry, _now: datetime) -> None:
    sheet.opening.pumped_at = entry.at


def _close(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    """Closed: the bill is drawn if nobody has, the state is pumping, how long it was open is written down."""
    opening, rows = sheet.opening, sheet.counting
    opening.closed_at = opening.ended_at = entry.at
    opening.open_s = rules.open_s(opening, rows, entry.at)
    if not bill.drawn(rows):
        usual = {row.item.key: row.usual for row in bill.lines(session, rows) if row.usual}
        told = bill.draw(session, person, sheet, usual, now)
        note = "Usual amounts: nobody wrote down what was used"
        write(session, person, opening, Written(kinds.USED, {"items": told}, entry.at, note), now)
    counters.hands_on(session, sheet.cryostat, entry.at, person)
    _state(session, person, sheet, "pumping", entry, "closed, pump on", now)
    vent = rules.last(rows, kinds.VENT)
    data = {"gas": vent.data["gas"] if vent else "unknown", "open_s": opening.open_s}
    if "humidity" in entry.data:
        data["humidity"] = entry.data["humidity"]
    what = f"Opening {opening.number}: {opening.why}"[:200]
    dirt.write(session, person, sheet.cryostat.slug, Said("vent", what, data, entry.at), now)


def _seal(session: Session, person: Person, sheet: Sheet, entry: OpeningEntry, now: datetime) -> None:
    """The part's own record says so as well."""
    done = (kinds.RING_DONE | kinds.WINDOW_DONE)[entry.data["done"]]
    replaced = entry.data.get("new_part")
    words = f"Opening {sheet.opening.number} of {sheet.cryostat.name}: {done}"
    for tag in filter(None, (entry.data.get("part"), replaced)):
        try:
            part = parts.find(session, tag)
        except NotFound:
            raise Refused(NOT_STORED, {"part": f"There is no part “{tag}”"}) from None
        more = (
            f" by {replaced}"
            if replaced and tag != replaced
            else " (this is the new one)"
            if replaced
            else ""
        )
        told = part_rules.Told(laboratory.day_of(session, now), part.state, part.place, note=words + more)
        parts.tell(session, person, tag, told, now, laboratory.day_of(session, now))


FOLLOWS = {
    kinds.VENT: _vent,
    kinds.LID_OFF: _lid_off,
    kinds.PARK: _park,
    kinds.AGAIN: _again,
    kinds.BUILT: _built,
    kinds.CLOSE: _close,
    kinds.PUMPED: _pumped,
    kinds.CALLED_OFF: _off,
    kinds.RING: _seal,
    kinds.WINDOW: _seal,
}
