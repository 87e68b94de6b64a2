"""The letter of the day, for whoever asked for it: written once a day for each, at the laboratory's hour.

The row of the day and the letter are one transaction, and the database takes the row once: however many
processes come to it at the same time, one letter is written. Handing it over once is the outbox's.
"""

from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy.engine import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, select

from server import jobs
from server.cooldowns import readings_silence
from server.db import reading, writing
from server.history import service as history
from server.laboratory import service as laboratory
from server.mail import outbox, sender
from server.notices import service
from server.notices.models import DigestChoice, DigestTurn
from server.notices.rules import KINDS, Notice
from server.people import mailing
from server.people.models import Person
from server.people.service import CommandLine
from server.settings import Settings

LEASE, LENGTH = "digest", timedelta(minutes=10)


def wanted(session: Session, person_id: int) -> bool:
    """Whether this person asked for the letter of the day."""
    query = select(DigestChoice.wanted).where(DigestChoice.person_id == person_id)
    return bool(session.exec(query.order_by(col(DigestChoice.id).desc()).limit(1)).first())


def choose(session: Session, person: Person, want: bool, now: datetime) -> None:
    """Ask for the letter of the day, or for none. What holds already is not written again."""
    assert person.id is not None
    if wanted(session, person.id) == want:
        return
    row = DigestChoice(person_id=person.id, wanted=want, at=now, by_name=person.name, by_id=person.id)
    session.add(row)
    line = "Asked for the letter of the day" if want else "Wants no letter of the day any more"
    history.note(session, person, f"person/{person.id}", line, now)


def write_due(engine: Engine, now: datetime) -> int:
    """Write the letters of the day that are not written yet; how many. None before the laboratory opens."""
    with reading(engine) as session:
        here = laboratory.get(session)
        local = now.astimezone(ZoneInfo(here.zone))
        if local.time() < here.opens:
            return 0
        keys = _waiting(session, local.date())
    return sum(_write(engine, key, local.date(), now) for key in keys)


def _waiting(session: Session, day: date) -> Sequence[int]:
    """Keys of the active people who want one and have not had today's."""
    query = select(DigestChoice.person_id, DigestChoice.wanted).join(
        Person, col(Person.id) == col(DigestChoice.person_id)
    )
    choices = dict(session.exec(query.where(col(Person.active)).order_by(col(DigestChoice.id))).all())
    had = set(session.exec(select(DigestTurn.person_id).where(DigestTurn.day == day)).all())
    return [key for key, want in choices.items() if want and key not in had]


def _write(engine: Engine, key: int, day: date, now: datetime) -> int:
    with writing(engine) as session:
        person, address = session.get(Person, key), mailing.address_of(session, key)
        if person is None or not address:
            return 0
        notices = service.for_person(session, person, now)
        session.add(DigestTurn(person_id=key, day=day, lines=len(notices), at=now))
        try:
            session.flush()
        except IntegrityError:
            return 0
        if notices:
            outbox.write(session, address, subject(notices), text(notices), f"person/{key}", now)
        session.commit()
        return int(bool(notices))


def subject(notices: Sequence[Notice]) -> str:
    """How many things wait."""
    return "One thing waits for you" if len(notices) == 1 else f"{len(notices)} things wait for you"


def text(notices: Sequence[Notice]) -> str:
    """The letter: what waits under its kind, each with its next step and where that is done."""
    lines: list[str] = []
    for kind, words in KINDS.items():
        rows = [row for row in notices if row.kind == kind]
        if rows:
            lines += [words.upper(), *(f"- {row.what}\n  {row.step}: {row.address}" for row in rows), ""]
    lines.append("This letter is written once a day because you asked for it; say no at /notices.")
    return "\n".join(lines)


def remind(engine: Engine, chosen: Settings, clock: Callable[[], datetime]) -> int:
    """Write what is due and hand over all that waits; how many letters were handed over or answered."""
    write_due(engine, clock())
    return sum(sender.send(engine, chosen, clock).values())


def watch(engine: Engine, at: datetime) -> int:
    """Report what fell silent, without anybody looking; how many faults were opened."""
    with writing(engine) as session:
        found = readings_silence.report_all(session, CommandLine(), at)
        session.commit()
    return found


def scheduled(engine: Engine, chosen: Settings, clock: Callable[[], datetime], holder: str) -> None:
    """One turn of the server's own schedule, if no other process has it; then the outbox's turn."""
    if jobs.take(engine, LEASE, holder, clock(), LENGTH):
        watch(engine, clock())
        write_due(engine, clock())
    sender.scheduled(engine, chosen, clock, holder)
