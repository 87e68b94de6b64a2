"""The cooldowns of the invented Bench A: eight past ones, one of them warm, and one that is going on.

Everything is told through the services, as people would have written it down at the time.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from server.cooldowns import night, night_orders, service
from server.cooldowns.finding import Sheet
from server.cooldowns.night_rules import Contact, Numbers, Seen
from server.cooldowns.service import Beginning, Written
from server.cryostats.guards import find
from server.cryostats.models import Cryostat
from server.people.models import Person

SLUG = "bench-a"
MARKS = {
    "shield": {"200": 0.28, "100": 0.62, "50": 0.85},
    "platform": {"200": 0.30, "100": 0.66, "50": 0.84, "10": 0.95},
}
"""When a stage passes a temperature, as a share of the way to base."""


@dataclass(frozen=True)
class Told:
    """One cooldown of the story. `more_K` is what each stage read above its prediction."""

    day: int
    hour: float
    who: str
    purpose: str
    pumped_h: float
    cooled_h: float
    cold_days: float
    more_K: Mapping[str, float]
    word: str
    helium_bar: float = 15.6


STORY = (
    Told(1, 12.5, "quill", "Bare reference", 3.0, 4.5, 6.5, {}, "Bare reference, heater test made"),
    Told(
        10,
        9,
        "maren",
        "Mount and carrier, first time",
        2.4,
        4.1,
        18,
        {"platform": 0.004},
        "As predicted",
    ),
    Told(32, 8, "maren", "Transport, 24 lines", 2.2, 4.0, 12, {"shield": 0.1, "sample": 0.02}, "Inside"),
    Told(47, 8.5, "maren", "Transport again, second lag", 2.1, 4.0, 48, {"platform": -0.004}, "Inside"),
    Told(99, 9, "maren", "Fast lines", 2.6, 4.2, 50, {"shield": 0.15, "platform": 0.01}, "Inside"),
    Told(
        152,
        8,
        "jory",
        "Light on the sample",
        2.3,
        4.3,
        49,
        {"shield": 0.1, "platform": 0.19, "mount": 0.2, "sample": 0.25},
        "A cable of the laser stage lay on the mount; seen at the next opening",
    ),
    Told(222, 10, "maren", "Full loom back", 2.5, 4.2, 41, {"platform": 0.006}, "Inside", 15.4),
    Told(267, 9, "maren", "Light finished, lines only", 2.4, 4.4, 48, {"platform": 0.012}, "Inside", 15.3),
    Told(320, 8.5, "sabe", "Step tests", 2.7, 4.5, 0, {"shield": 0.2, "platform": 0.02}, "", 15.2),
)
NUMBERS = Numbers(
    go_Pa=0.5,
    restart_Pa=0.5,
    longest_stop_s=1200.0,
    restarts_itself="will-not",
    decides="Quill Ashdown",
    words="The water alarm is on the wall left of the door. The pump has its own switch; leave it running.",
)
ROSTER = (
    Contact("Maren Tolle", "ext. 2141", "restart", 0, "01234"),
    Contact("Jory Pike", "ext. 2177", "restart", 0, "56"),
    Contact("Porter's lodge", "ext. 2000", "look", 10),
    Contact("Quill Ashdown", "ext. 2102", "decide", 30),
)


def tell(session: Session, people: Mapping[str, Person], clock: Mapping[int, datetime]) -> None:
    """Tell them all; `clock` has the midnight of each day of the story."""
    steward = people["quill"]
    night_orders.write_rule(session, steward, SLUG, NUMBERS, clock[0] + timedelta(hours=11))
    night_orders.write_roster(session, steward, SLUG, ROSTER, True, clock[0] + timedelta(hours=11.2))
    for told in STORY:
        _one(session, people[told.who], told, clock[told.day] + timedelta(hours=told.hour))
        if told.day == 222:
            _night(session, people["maren"], clock[238] + timedelta(hours=3.6))


def _one(session: Session, person: Person, told: Told, at: datetime) -> None:
    pumped_at = at - timedelta(hours=told.pumped_h)
    sheet = service.prepare(session, person, SLUG, told.purpose, pumped_at, pumped_at)
    number = sheet.cooldown.number
    book = Book(session, person, number)
    for share, pressure_Pa in ((0.3, 80.0), (0.6, 4.0), (0.85, 0.8), (1.0, 0.42)):
        book.write(
            "pressure", {"pressure_Pa": pressure_Pa}, at - timedelta(hours=told.pumped_h * (1 - share))
        )
    rise = {"from_Pa": 0.42, "to_Pa": 0.9 + 0.05 * number, "wait_s": 600.0, "shape": "bending"}
    book.write("rise", rise, at - timedelta(minutes=5))
    book.write("helium", {"pressure_Pa": told.helium_bar * 1e5, "room_K": 294.2}, at - timedelta(minutes=4))
    book.write("water", {"in_K": 289.6, "flow_m3_s": 1.2e-4}, at - timedelta(minutes=3))
    sheet = service.start(session, person, SLUG, Beginning(0.43, at), at)
    for stage, marks in MARKS.items():
        for target, share in marks.items():
            reached_at = at + timedelta(hours=told.cooled_h * share)
            book.write("mark", {"stage": stage, "target": target}, reached_at)
    base_at = at + timedelta(hours=told.cooled_h)
    book.write("base", _base(find(session, SLUG), sheet, told), base_at)
    if number == 1:
        _heater_test(book, base_at)
    if told.word:
        book.write("word", {}, base_at + timedelta(hours=1), told.word)
    if told.cold_days:
        _warm(session, person, book, base_at + timedelta(days=told.cold_days))


@dataclass(frozen=True)
class Book:
    """Where one person writes one cooldown down."""

    session: Session
    person: Person
    number: int

    def write(self, kind: str, data: Mapping[str, Any], at: datetime, note: str = "") -> None:
        """An entry, written when it happened."""
        service.enter(self.session, self.person, SLUG, self.number, Written(kind, data, at, note), at)


BARE_K = {"shield": 32.0, "platform": 3.18}


def _base(cryostat: Cryostat, sheet: Sheet, told: Told) -> dict[str, Any]:
    """What was read: the prediction and what came on top; before there was one the bare values."""
    middles = {stage: band.middle for stage, band in sheet.expected_K.items()} or BARE_K
    read = {
        f"{stage}_K": round(kelvin + told.more_K.get(stage, 0.0), 3)
        for stage, kelvin in middles.items()
        if stage in cryostat.stages
    }
    return {**read, "pressure_Pa": 2.4e-5, "heater": "off", "settled": "yes"}


def _heater_test(book: Book, base_at: datetime) -> None:
    steps = [("platform", 0.03, 32.06, 3.405), ("platform", 0.1, 32.2, 3.93), ("shield", 1.0, 33.1, 3.184)]
    for number, (heated, added_W, shield_K, platform_K) in enumerate(steps):
        data = {"heated": heated, "added_W": added_W, "shield_K": shield_K, "platform_K": platform_K}
        book.write("heater-step", data, base_at + timedelta(hours=12 + number))


def _warm(session: Session, person: Person, book: Book, at: datetime) -> None:
    wish = Written("", {"method": "heater", "heater_W": 20.0, "set_K": 295.0}, at)
    service.warm(session, person, SLUG, book.number, wish, at)
    warm_at = at + timedelta(hours=3.2)
    aired = {
        "lowest_K": 293.0,
        "oxygen": 0.209,
        "relief_free": "yes",
        "pressure_Pa": 60.0,
        "purge": "dry gas",
        "frost": "no",
    }
    book.write("vented", aired, warm_at)
    service.end(session, person, SLUG, book.number, "parked", warm_at, "", warm_at)


def _night(session: Session, person: Person, at: datetime) -> None:
    """A water alarm in the night: the stop, the two lines, and nothing else."""
    seen = Seen(
        seen="Water alarm. Compressor stands, pump runs, nothing smells.",
        seen_at=at,
        stopped_at=at - timedelta(minutes=33),
        pressure_Pa=0.4,
        called="Quill Ashdown",
        left="Left as it is: it has stood for longer than the rule says.",
    )
    night.write(session, person, SLUG, seen, at)
