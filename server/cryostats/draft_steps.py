"""The steps of a draft: asked for, agreed to by every party, approved by the steward, built, or given up."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session

from server.cryostats import contents, draft_rules, drafts, rules, samples_planned, service, window_rules
from server.cryostats.draft_models import DraftStep
from server.cryostats.draft_rules import (
    AGREED,
    APPROVED,
    ASKED,
    BUILT,
    CHOICES,
    DRAWING,
    FREEZE,
    FROZEN,
    SENT_BACK,
    WITHDRAWN,
)
from server.cryostats.drafts import Sheet
from server.cryostats.service import Logged
from server.errors import Conflict, Forbidden, Refused
from server.history import service as history
from server.laboratory import service as laboratory
from server.people.models import Person

WORDS = {
    ASKED: "asked for approval",
    "yes": "a party said yes",
    APPROVED: "approved",
    FREEZE: "the day of freezing set",
    SENT_BACK: "sent back",
    WITHDRAWN: "withdrawn",
    BUILT: "built",
}
OPEN_STATES = {
    ASKED: {DRAWING},
    "yes": {ASKED, APPROVED},
    APPROVED: {ASKED},
    FREEZE: {APPROVED, AGREED},
    SENT_BACK: {ASKED, APPROVED, AGREED, FROZEN},
    WITHDRAWN: {DRAWING, ASKED, APPROVED, AGREED, FROZEN, SENT_BACK},
}
"""Where a draft must stand for each step."""


@dataclass(frozen=True)
class Said:
    """What somebody says with a step.

    With asking comes the day it is to go in; with approving and freezing the day it is frozen from, and
    with approving why it may be late.
    """

    note: str = ""
    build_on: date | None = None
    freeze_on: date | None = None
    override: str = ""


@dataclass(frozen=True)
class Ask:
    """A wish to build: the version and the revision the person looked at, and a choice for each clash."""

    version: int
    base_revision: int | None = None
    choices: Mapping[str, str] | None = None
    reason: str = ""
    done_at: datetime | None = None


def take(
    session: Session, person: Person, number: int, what: str, version: int, said: Said | str, at: datetime
) -> Sheet:
    """Make one step other than building; Conflict when the draft moved on, Forbidden for the wrong person.

    A draft asked for may name the day it is to go in. Approved, it names the day it is frozen from, by
    default three working days before it goes in; where fewer are left the steward says why it may be late.
    """
    said = Said(said) if isinstance(said, str) else said
    found = drafts.find(session, number, lock=True, at=at)
    if what not in OPEN_STATES:
        raise Refused("The step was not made.", {"what": "Choose one of the steps"})
    _need_part(session, person, found, what)
    drafts.need_newest(found, version)
    _need_open(found, person, what)
    said = _with_days(session, person, found, what, said, at)
    faults = rules.text_faults("note", "the note", said.note, rules.LONGEST_NOTE)
    faults |= rules.text_faults("override", "the reason", said.override, rules.LONGEST_NOTE)
    if what in (SENT_BACK, WITHDRAWN) and not said.note.strip():
        faults["note"] = "Enter why, in a few words"
    if faults:
        raise Refused("The step was not made.", faults)
    return _write(session, person, found, what, said, at)


def _with_days(session: Session, person: Person, found: Sheet, what: str, said: Said, at: datetime) -> Said:
    """What is said, with the days that follow from it; Refused where a day cannot be."""
    today, week = laboratory.day_of(session, at), laboratory.week(session)
    build_on, faults = found.standing.build_on, {}
    if what == ASKED:
        return _refused_or(Said(said.note, said.build_on), draft_rules.build_day_faults(said.build_on, today))
    if what not in (APPROVED, FREEZE):
        return Said(said.note)
    default = draft_rules.freeze_default(build_on, today, week) if what == APPROVED else today
    freeze_on = said.freeze_on or default
    faults = draft_rules.freeze_day_faults(freeze_on, build_on, today)
    if what == FREEZE:
        faults |= _later_faults(person, found, freeze_on)
        return _refused_or(Said(said.note, None, freeze_on), faults)
    late = draft_rules.late(build_on, today, week)
    if late and not said.override.strip():
        faults["override"] = f"{late}; enter why it may be approved this late"
    return _refused_or(Said(said.note, None, freeze_on, said.override if late else ""), faults)


def _later_faults(person: Person, found: Sheet, freeze_on: date) -> dict[str, str]:
    """Whoever has a hand in a draft may freeze it earlier; a steward may put the day off."""
    before = found.standing.freeze_on
    if person.steward or before is None or freeze_on <= before:
        return {}
    return {"freeze_on": f"It is frozen from {before} on; only a steward may put that off"}


def _refused_or(said: Said, faults: dict[str, str]) -> Said:
    if faults:
        raise Refused("The step was not made.", faults)
    return said


def _need_part(session: Session, person: Person, found: Sheet, what: str) -> None:
    """Approving is the steward's, yes a party's own; the others are for those whose draft it is."""
    party = person.id in drafts.party_keys(found)
    if what == APPROVED and not person.steward:
        raise Forbidden("Only a steward may approve a draft.")
    if what == "yes" and not party:
        raise Forbidden("Only those who are named on the draft say yes to it.")
    if what == SENT_BACK and not (person.steward or party):
        raise Forbidden("Only a steward, or somebody named on the draft, may send it back.")
    if what in (ASKED, WITHDRAWN, FREEZE):
        drafts.need_hand(session, person, found)


def _need_open(found: Sheet, person: Person, what: str) -> None:
    state = found.standing.state
    if state not in OPEN_STATES[what]:
        raise Conflict(f"{found.draft.name} is {found.standing.words}; it cannot be {WORDS[what]} now.")
    said_yes = {row.by_id for row in found.steps if row.what == "yes" and row.version == found.draft.version}
    if what == "yes" and person.id in said_yes:
        raise Conflict("You have said yes to this version already.")


def _write(
    session: Session,
    person: Person,
    found: Sheet,
    what: str,
    said: Said,
    at: datetime,
    revision: int | None = None,
) -> Sheet:
    draft = found.draft
    assert draft.id is not None
    row = DraftStep(
        draft_id=draft.id,
        version=draft.version,
        what=what,
        note=said.note.strip(),
        revision=revision,
        build_on=said.build_on,
        freeze_on=said.freeze_on,
        override=said.override.strip(),
        at=at,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    line = f"Draft {draft.id}, {draft.name}, version {draft.version}: {WORDS[what]}. {_told(row)}".strip()
    history.note(session, person, f"cryostat/{found.cryostat.slug}", line, at, {"draft": draft.id})
    return drafts.sheet(session, found.cryostat, draft, at)


def _told(row: DraftStep) -> str:
    """The words of a step, with its days."""
    days = ((row.build_on, "To go in on"), (row.freeze_on, "Frozen from"))
    told = [f"{words} {day}." for day, words in days if day is not None]
    return " ".join([row.note, *told, *([f"Late: {row.override}"] if row.override else [])]).strip()


def build(session: Session, person: Person, number: int, ask: Ask, at: datetime) -> Logged:
    """Make the draft a change on what is inside now.

    Conflict when another version is newest, when it may not be built, or when an element was changed since
    its base and no choice is made for it; `current` then holds the clashes. Grades and the table of a cold
    window are held to as for any change, with what was approved in mind.
    """
    found = drafts.find(session, number, lock=True, at=at)
    drafts.need_newest(found, ask.version)
    if not found.standing.buildable:
        raise Conflict(f"{found.draft.name} is {found.standing.words}; it can be built once it is frozen.")
    change = _merged(session, found, ask)
    way = window_rules.FROM_HOUSE if found.draft.house else window_rules.FROM_APPROVED
    logged = service.log_change(session, person, found.cryostat.slug, change, at, way=way)
    samples_planned.come_in(session, person, found, logged.revision.number, at)
    _write(session, person, found, BUILT, Said(logged.difference.words), at, logged.revision.number)
    return logged


def _merged(session: Session, found: Sheet, ask: Ask) -> rules.Change:
    choices = dict(ask.choices or {})
    _refuse_bad_choices(choices, ask)
    cryostat = found.cryostat
    revision = cryostat.revision if ask.base_revision is None else ask.base_revision
    if revision == cryostat.revision:
        open_clashes = [row for row in drafts.clashes(session, found) if row.key not in choices]
        if open_clashes:
            raise Conflict(
                f"{len(open_clashes)} of the draft’s elements were changed in {cryostat.name} since revision "
                f"{found.version.base_revision}. Choose for each.",
                tuple(open_clashes),
            )
    present = contents.elements(session, cryostat, cryostat.revision)
    reason = ask.reason.strip() or f"Draft {found.draft.id} built: {found.draft.name}"
    return draft_rules.merged(
        found.change, present, choices, reason=reason, at_revision=revision, done_at=ask.done_at
    )


def _refuse_bad_choices(choices: Mapping[str, str], ask: Ask) -> None:
    faults = {
        f"choices.{key}": "Choose draft or now" for key, choice in choices.items() if choice not in CHOICES
    }
    if choices and ask.base_revision is None:
        faults["base_revision"] = "Name the revision at which you chose"
    if faults:
        raise Refused("The draft was not built.", faults)
