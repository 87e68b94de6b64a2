"""The story's maintenance and training: an adsorber near its hours, seals, a drill, a newcomer on her way."""

from collections.abc import Mapping
from datetime import datetime, timedelta

from sqlmodel import Session

from server.cryostats import guards
from server.maintenance import service, starter, tasks
from server.maintenance.rules import Done
from server.maintenance.tasks import Wanted
from server.people.models import Person
from server.training import service as training
from server.training.service import Seen

PICKED = ["ring-change", "helium-leaks", "water", "oxygen", "reference", "pressure", "call", "restore"]


def tell(session: Session, people: Mapping[str, Person], at: datetime) -> None:
    """What recurs on one bench, as of `at`."""
    steward, slug = people["quill"], "bench-a"
    cryostat = guards.find(session, slug)
    begun = at - timedelta(days=200)
    rows = starter.lay_out(session, steward, slug, PICKED, begun)
    adsorber = Wanted(
        name="Change the adsorber of the compressor",
        text="Couplings in the order of the sheet; supply locked off. Note both serial numbers.",
        who="engineer from outside",
        limits={"compressor_hours": 20000.0},
        lead_days=56,
        down_h=36.0,
        stops_work=True,
        cautions=("S06", "S09", "S07"),
        return_stage="platform",
        return_K=3.2,
        return_within_K=0.1,
        return_name="the last bare reference",
    )
    tasks.make(session, steward, slug, adsorber, begun)
    alarm = next(row for row in rows if row.name.startswith("Try the oxygen alarm"))
    when = at - timedelta(days=12)
    words = "Lamp and sounder came; the sign is legible from the corridor"
    service.done(session, steward, slug, alarm.id or 0, Done(when, words, ("days",)), when)
    _newcomer(session, people, cryostat.slug, at)


def _newcomer(session: Session, people: Mapping[str, Person], slug: str, at: datetime) -> None:
    steward, begun = people["quill"], at - timedelta(days=24)
    row = training.begin(session, steward, slug, "sabe", 2, people["maren"].name, begun)
    seen = (
        ("room", "Both alarms heard, both ways out walked"),
        ("nitrogen", "Said it back, without being asked"),
    )
    for number, (key, words) in enumerate(seen, 1):
        day = begun + timedelta(days=number)
        line = Seen(key, words, people["maren"].name, day.date())
        training.enter(session, steward, slug, row.id or 0, line, day + timedelta(days=1))
