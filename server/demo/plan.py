"""The demo's plan: groups with shares, a draft somebody waits for, bookings, a hold, and one who waits."""

from dataclasses import replace
from datetime import datetime, timedelta

from sqlmodel import Session

from server.bookings import asking, groups, ruling, service
from server.bookings.checks import Ask
from server.bookings.holds import Held
from server.bookings.models import Booking
from server.cryostats import counters, draft_steps, drafts, guards
from server.cryostats.documents import put_of
from server.cryostats.drafts import Drawn
from server.cryostats.models import Cryostat
from server.cryostats.rules import Change
from server.people.models import Person

BENCH_A, BENCH_B = "bench-a", "bench-b"
TEAMS = {"Slow light": (2.0, ("maren", "quill")), "Quiet charge": (1.0, ("jory", "sabe", "quill"))}
CHIP = {
    "key": "chip-lines",
    "kind": "wire",
    "label": "12 lines for the new chip",
    "material": "phosphor-bronze",
    "count": 12,
    "diameter_m": 0.127e-3,
    "lengths_m": {"vessel-shield": 0.30, "shield-platform": 0.15},
    "lags": [{"stage": "shield", "length_m": 0.02, "state": "good"}],
    "ends_on": "platform",
}


def tell(session: Session, people: dict[str, Person], at: datetime) -> None:
    """A fortnight of plans around the moment `at`, made the day before, so that somebody is at it now."""
    at -= timedelta(days=1)
    steward = people["quill"]
    ruling.write(session, steward, ruling.LABORATORY, "country", "AT", "Our public holidays", at)
    keys = _teams(session, people, at)
    a, b = guards.find(session, BENCH_A), guards.find(session, BENCH_B)
    for login in ("maren", "jory"):
        for cryostat in (a, b):
            counters.hands_on(session, cryostat, at - timedelta(days=20), people[login])
    chip = _draft(session, people, a, at)
    light, charge = keys["Slow light"], keys["Quiet charge"]
    maren, jory = people["maren"], people["jory"]
    look = Ask(48, "First look at the new chip", "draft", chip, wanted_K=4.0, group_id=charge)
    _book(session, maren, a, Ask(30, "Linewidth against temperature", group_id=light), at)
    _book(session, jory, a, replace(look, helper_id=_id(maren)), at)
    _book(session, maren, a, Ask(20, "The same chip, with light", "draft", chip, group_id=light), at)
    _book(session, jory, b, Ask(36, "Noise of the gate, two nights", group_id=charge), at)
    service.wait(session, people["sabe"], BENCH_B, Ask(12, "Repeat of last month", cold_as_is=True), at)
    _service(session, steward, b, at)


def _id(person: Person) -> int:
    assert person.id is not None
    return person.id


def _teams(session: Session, people: dict[str, Person], at: datetime) -> dict[str, int]:
    found = {}
    for name, (share, logins) in TEAMS.items():
        group = groups.make(session, people["quill"], name, share, at)
        assert group.id is not None
        found[name] = group.id
        for login in logins:
            groups.join(session, people["quill"], group.id, _id(people[login]), at)
    return found


def _draft(session: Session, people: dict[str, Person], cryostat: Cryostat, at: datetime) -> int:
    """A draft of twelve lines more, asked for and approved."""
    put, _ = put_of(CHIP, "put.0")
    change = Change("Twelve lines for a new chip", cryostat.revision, (put,))
    sheet = drafts.make(session, people["maren"], cryostat.slug, Drawn("Twelve more lines", change), at)
    number = sheet.draft.id or 0
    draft_steps.take(session, people["maren"], number, "asked", 1, "", at)
    draft_steps.take(session, people["quill"], number, "approved", 1, "Photograph each lag", at)
    return number


def _book(session: Session, person: Person, cryostat: Cryostat, ask: Ask, at: datetime) -> Booking:
    slot = asking.slots(session, cryostat, ask, at, 1)[0]
    return service.book(session, person, cryostat.slug, ask, slot.chain.window.starts, at)


def _service(session: Session, steward: Person, cryostat: Cryostat, at: datetime) -> None:
    starts = (at + timedelta(days=9)).replace(minute=0, second=0, microsecond=0)
    held = Held(
        "service",
        "New adsorber in the compressor",
        "It has run two hours at its usual pressures",
        starts,
        starts + timedelta(days=2),
    )
    service.hold(session, steward, cryostat.slug, held, at)
