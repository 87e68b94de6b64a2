"""From an ask to a wish that can be laid: its configuration, its slots, and what the rules say to it."""

from datetime import datetime, timedelta
from uuid import uuid4

from sqlmodel import Session

from server.bookings import checks, configurations, fairness, finding, grades, lines
from server.bookings.checks import AS_IS, DRAFT, HOUSE, Ask
from server.bookings.finding import Slot
from server.bookings.laying import Chain, Wish
from server.bookings.lines import Desk
from server.bookings.models import Booking
from server.bookings.writing import WAITING
from server.cryostats import drafts, guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import LONGEST_NOTE, text_faults
from server.errors import Refused
from server.people.models import Person

LARGEST_KEY = 2**31 - 1
NOT_BOOKED = "Not booked."


def wish_for(session: Session, cryostat: Cryostat, ask: Ask) -> Wish:
    """What is to be laid for an ask; NotFound or Refused when its configuration is not there."""
    configuration = ""
    if ask.want == DRAFT and ask.draft_id is not None:
        sheet = configurations.known(session, cryostat, ask.draft_id)
        configuration = configurations.of_draft(sheet.draft.id or 0)
    if ask.want == HOUSE:
        sheet_of_house = configurations.house(session, cryostat)
        if sheet_of_house is None:
            raise Refused(NOT_BOOKED, {"want": f"{cryostat.name} has no house draft; the steward draws it"})
        configuration = configurations.of_draft(sheet_of_house.draft.id or 0)
    return Wish(configuration, timedelta(hours=ask.cold_hours), ask.want == AS_IS, ask.any_hour)


def slots(session: Session, cryostat: Cryostat, ask: Ask, now: datetime, most: int = 5) -> list[Slot]:
    """The first slots for an ask, earliest first."""
    return slots_at(session, lines.desk(session, cryostat, now), ask, now, most)


def slots_at(session: Session, desk: Desk, ask: Ask, now: datetime, most: int = 5) -> list[Slot]:
    """The same from a desk somebody has open already."""
    first = max(ask.earliest or now, now)
    farthest = now + timedelta(weeks=desk.rules.value("farthest_weeks")) + timedelta(hours=ask.cold_hours)
    last = min(ask.latest or farthest, farthest)
    return finding.slots(desk.kit, desk.line, wish_for(session, desk.cryostat, ask), first, last, most)


def why_not(desk: Desk, cold_starts: datetime, ask: Ask) -> str:
    """What stands in the way of a cold window, in a few words."""
    ends = cold_starts + timedelta(hours=ask.cold_hours)
    for row in finding.in_the_way(desk.line, cold_starts, ends):
        return "it is held" if row.wish is None else "another booking has it"
    return "what must be done before or after it does not fit between its neighbours and working hours"


def grade_of(desk: Desk, chain: Chain, want: str, cold_starts: datetime) -> int:
    """The grade its hands-on phases need."""
    left = [row for row in desk.line.blocks if row.ends <= cold_starts]
    ground = desk.line.ground_before(len(left))
    return grades.needed(desk, ground.configuration, chain.configuration, chain.change, want)


def checked(
    session: Session,
    person: Person,
    desk: Desk,
    ask: Ask,
    cold_starts: datetime | None,
    now: datetime,
    found: dict[str, str],
) -> Person | None:
    """The helper who is named; Refused with every fault of the wish."""
    guards.need(session, person, desk.cryostat, 0)
    found = checks.faults(ask, steward=person.steward) | found
    found |= checks.typed_moment_faults("earliest", ask.earliest)
    found |= checks.typed_moment_faults("latest", ask.latest)
    found |= checks.typed_moment_faults("cold_starts", cold_starts)
    if cold_starts is not None and cold_starts < now:
        found["cold_starts"] = "A cold window begins in the future"
    if ask.group_id is not None and ask.group_id not in [
        row.id for row in fairness.groups_of(session, person)
    ]:
        found["group"] = "Choose a group you belong to"
    helper = (
        session.get(Person, ask.helper_id) if ask.helper_id and 0 < ask.helper_id <= LARGEST_KEY else None
    )
    if ask.helper_id is not None and (helper is None or not helper.active):
        found["helper"] = "Choose somebody who has an account"
    if found:
        raise Refused(NOT_BOOKED, found)
    return helper


def keep_rules(session: Session, desk: Desk, ask: Ask, chain: Chain, now: datetime) -> None:
    """Refused where a number of the rules says no and no steward set it aside."""
    if ask.override.strip():
        return
    found = checks.rule_faults(ask, chain, desk.rules, desk.work, now, _approved(session, ask))
    quota = fairness.quota_fault(session, desk.rules, ask.group_id, chain.window.starts, now)
    if quota:
        found["group"] = quota
    if found:
        raise Refused(NOT_BOOKED, found)


def _approved(session: Session, ask: Ask) -> bool:
    if ask.want != DRAFT or ask.draft_id is None:
        return True
    return drafts.find(session, ask.draft_id).standing.buildable


def new(
    session: Session, person: Person, desk: Desk, ask: Ask, helper: Person | None, now: datetime
) -> Booking:
    """A booking without a place yet, in the books."""
    wanted = wish_for(session, desk.cryostat, ask).configuration
    group = fairness.group(session, ask.group_id) if ask.group_id is not None else None
    assert desk.cryostat.id is not None
    assert person.id is not None
    booking = Booking(
        uid=str(uuid4()),
        cryostat_id=desk.cryostat.id,
        state=WAITING,
        owner_id=person.id,
        owner_name=person.name,
        helper_id=helper.id if helper else None,
        helper_name=helper.name if helper else "",
        group_id=ask.group_id,
        group_name=group.name if group else "",
        purpose=ask.purpose.strip(),
        hazards=ask.hazards.strip(),
        wanted_K=ask.wanted_K,
        want=ask.want,
        draft_id=ask.draft_id if ask.want == DRAFT else None,
        configuration=wanted or configurations.inside(desk.cryostat),
        cold_hours=ask.cold_hours,
        earliest=ask.earliest,
        latest=ask.latest,
        cold_as_is=ask.cold_as_is,
        any_hour=ask.any_hour,
        training=ask.training,
        override=ask.override.strip(),
        made_at=now,
        altered_at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(booking)
    session.flush()
    return booking


def people(session: Session, booking: Booking) -> tuple[Person, Person | None]:
    """Whose booking it is, and the helper they named."""
    owner = session.get(Person, booking.owner_id)
    assert owner is not None
    return owner, session.get(Person, booking.helper_id) if booking.helper_id else None


def moment_checked(cold_starts: datetime, now: datetime) -> None:
    """Refused when a window would begin in the past, or in no year at all."""
    found = checks.typed_moment_faults("cold_starts", cold_starts)
    if not found and cold_starts < now:
        found["cold_starts"] = "A cold window begins in the future"
    if found:
        raise Refused("Not moved.", found)


def note_checked(note: str) -> None:
    """Refused when a note is too long or no text."""
    found = text_faults("note", "the note", note, LONGEST_NOTE)
    if found:
        raise Refused("Nothing was altered.", found)
