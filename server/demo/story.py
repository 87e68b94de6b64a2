"""The demo laboratory: invented from end to end, told through the same services that people use.

Two cryostats and a year of revisions: one busy loom, one copper lead somebody put in, one lid left off.
"""

from datetime import datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from server.cautions.service import seed
from server.cryostats import instruments, service
from server.cryostats.documents import put_of
from server.cryostats.instruments import About
from server.cryostats.models import Cryostat
from server.cryostats.rules import STAGES, Change
from server.demo import charges, cooldowns, drafts, faults, inside, logs, openings, plan, stores, why
from server.demo import service as recurring
from server.demo.benches import BENCHES, STEWARD, Bench, Told
from server.laboratory.service import set_up
from server.people.models import Person
from server.people.service import CommandLine, enroll

LABORATORY, ZONE = "Hollow Hill Low-Temperature Laboratory", "Europe/Vienna"
PASSWORD = "cold-cellar-door"  # noqa: S105 - printed for everybody, opens invented books only
PEOPLE = {STEWARD: "Quill Ashdown", "maren": "Maren Tolle", "jory": "Jory Pike", "sabe": "Sabe Ostrander"}
DAYS = 365


def fill(session: Session, at: datetime, home: Path) -> str:
    """Tell the story up to `at` into an empty database and the folder `home`; what to print.

    Told once, it is left alone.
    """
    if session.exec(select(Person).limit(1)).first() is None:
        set_up(session, LABORATORY, ZONE)
        seed(session)
        begun = at - timedelta(days=DAYS)
        people = {
            login: enroll(
                session,
                CommandLine(),
                name=name,
                login=login,
                password=PASSWORD,
                at=begun,
                steward=login == STEWARD,
            )
            for login, name in PEOPLE.items()
        }
        inside.before(session, people, begun)
        for bench in BENCHES:
            _tell(session, bench, people, begun)
        inside.tell(session, people, begun, home)
        cooldowns.tell(session, people, {day: _clock(begun, day, 0) for day in range(DAYS)})
        logs.tell(session, people, at)
        why.tell(session, people, at, home)
        stores.tell(session, people, begun, at)
        drafts.tell(session, people, at)
        plan.tell(session, people, at)
        charges.tell(session, people, at)
        faults.tell(session, people, at)
        recurring.tell(session, people, at)
        openings.tell(session, people, at)
    logins = ", ".join(PEOPLE)
    return (
        f"Sign in as {STEWARD} (steward) with the password {PASSWORD}; also {logins}, all with that password."
    )


def _tell(session: Session, bench: Bench, people: dict[str, Person], begun: datetime) -> None:
    steward = people[STEWARD]
    about = About(bench.name, bench.place, STAGES, bench.limits_K)
    cryostat = instruments.make(session, steward, about, begun)
    for login, grade in bench.grades.items():
        instruments.give_grade(session, steward, cryostat, people[login], grade, begun)
    for number, told in enumerate(bench.told):
        _log(session, people[told.who], cryostat, told, _clock(begun, told.day, told.hour))
        if number == 0:
            points = {
                "cooler": {"kind": "heater-test", "points": list(bench.points)},
                "bare_temperatures_K": {},
            }
            tested = _clock(begun, told.day + 2, 16)
            instruments.measure_cooler(
                session, steward, cryostat, points, 1, "Heater test, one hour a step", tested
            )
    for day, hour, who, state, note in bench.states:
        since = _clock(begun, day, hour)
        instruments.enter_state(session, people[who], cryostat, state, since, note, since)


def _log(session: Session, person: Person, cryostat: Cryostat, told: Told, at: datetime) -> None:
    puts = tuple(put_of(row, "")[0] for row in told.put)
    change = Change(told.reason, cryostat.revision, puts, told.remove, at)
    service.log_change(session, person, cryostat.slug, change, at + timedelta(minutes=20))


def _clock(begun: datetime, day: int, hour: float) -> datetime:
    """A moment of the story, on the laboratory's own clock."""
    date = (begun + timedelta(days=day)).astimezone(ZoneInfo(ZONE)).date()
    return datetime.combine(date, time(), ZoneInfo(ZONE)) + timedelta(hours=hour)
