"""What a steward has written for the night: numbers of a cryostat, the roster; and who swapped with whom."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date, datetime

from sqlmodel import Session, col, func, select

from server.cooldowns import night_rules
from server.cooldowns.night_models import NightRoster, NightRule, NightSwap
from server.cooldowns.night_rules import Contact, Numbers, contact_of
from server.cryostats import guards, instruments
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPERATE, STEWARD
from server.errors import Refused
from server.history import service as history
from server.people.models import Person


def rule_of(session: Session, cryostat_id: int) -> NightRule | None:
    """The newest version of a cryostat's numbers, or None."""
    query = select(NightRule).where(NightRule.cryostat_id == cryostat_id)
    return session.exec(query.order_by(col(NightRule.number).desc()).limit(1)).first()


def numbers_of(row: NightRule) -> Numbers:
    """The row as a rule sees it."""
    return Numbers(
        row.go_Pa,
        row.restart_Pa,
        row.longest_stop_s,
        row.restarts_itself,
        row.decides,
        tuple(row.donts),
        row.words,
    )


def write_rule(session: Session, person: Person, slug: str, numbers: Numbers, now: datetime) -> NightRule:
    """Store the next version; only a steward may."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    found = night_rules.number_faults(numbers)
    if found:
        raise Refused("The numbers were not stored.", found)
    query = select(func.max(NightRule.number)).where(NightRule.cryostat_id == cryostat.id)
    assert cryostat.id is not None
    row = NightRule(
        cryostat_id=cryostat.id,
        number=(session.exec(query).one() or 0) + 1,
        go_Pa=numbers.go_Pa,
        restart_Pa=numbers.restart_Pa,
        longest_stop_s=numbers.longest_stop_s,
        restarts_itself=numbers.restarts_itself,
        decides=numbers.decides.strip(),
        donts=[text.strip() for text in numbers.donts],
        words=numbers.words.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    line = f"Numbers for cooling and for the night written, version {row.number}"
    history.note(session, person, instruments.subject(cryostat), line, now)
    session.flush()
    return row


def roster_of(session: Session, cryostat_id: int) -> NightRoster | None:
    """The newest roster of a cryostat; where it has none, the laboratory's."""
    for scope in (NightRoster.cryostat_id == cryostat_id, col(NightRoster.cryostat_id).is_(None)):
        query = select(NightRoster).where(scope).order_by(col(NightRoster.id).desc()).limit(1)
        found = session.exec(query).first()
        if found is not None and found.contacts:
            return found
    return None


def write_roster(
    session: Session,
    person: Person,
    slug: str,
    contacts: Sequence[Contact],
    everywhere: bool,
    now: datetime,
) -> NightRoster:
    """Store the next version, of this cryostat or of the laboratory. An empty one is taken back."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, STEWARD)
    found = night_rules.contact_faults(contacts)
    if found:
        raise Refused("The roster was not stored.", found)
    row = NightRoster(
        cryostat_id=None if everywhere else cryostat.id,
        contacts=[_plain(contact) for contact in contacts],
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    subject = "laboratory" if everywhere else instruments.subject(cryostat)
    names = ", ".join(contact.name for contact in contacts) or "nobody"
    history.note(session, person, subject, f"Roster of the night written: {names}", now)
    session.flush()
    return row


def _plain(contact: Contact) -> dict[str, object]:
    row = asdict(contact)
    row.pop("instead_of")
    return {**row, "name": contact.name.strip(), "phone": contact.phone.strip()}


def swap(
    session: Session,
    person: Person,
    slug: str,
    night: date,
    instead_of: str,
    name: str,
    phone: str,
    now: datetime,
) -> NightSwap:
    """Somebody takes a night of somebody else."""
    cryostat = guards.find(session, slug, lock=True)
    guards.need(session, person, cryostat, OPERATE)
    assert cryostat.id is not None
    found = night_rules.person_faults("", name, phone)
    roster = roster_of(session, cryostat.id)
    if roster is None or instead_of not in [row["name"] for row in roster.contacts]:
        found["instead_of"] = "Choose somebody of the roster"
    if found:
        raise Refused("The swap was not written down.", found)
    row = NightSwap(
        cryostat_id=cryostat.id,
        night=night,
        instead_of=instead_of,
        name=name.strip(),
        phone=phone.strip(),
        at=now,
        by_name=person.name,
        by_id=person.id,
    )
    session.add(row)
    line = f"Night of {night.isoformat()}: {row.name} instead of {instead_of}"
    history.note(session, person, instruments.subject(cryostat), line, now)
    session.flush()
    return row


def swaps_from(session: Session, cryostat_id: int, night: date) -> Sequence[NightSwap]:
    """Swaps of this night and of later ones, oldest first."""
    query = select(NightSwap).where(NightSwap.cryostat_id == cryostat_id, col(NightSwap.night) >= night)
    return session.exec(query.order_by(col(NightSwap.night), col(NightSwap.id))).all()


def on_call(session: Session, cryostat: Cryostat, night: date) -> tuple[Contact, ...]:
    """Whom to call on one night, in order."""
    assert cryostat.id is not None
    roster = roster_of(session, cryostat.id)
    contacts = [contact_of(row) for row in roster.contacts] if roster else []
    swaps = [
        (row.instead_of, row.name, row.phone)
        for row in swaps_from(session, cryostat.id, night)
        if row.night == night
    ]
    return night_rules.tonight(contacts, swaps, night)
