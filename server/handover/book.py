"""The whole book: of one cryostat with what the laboratory shares, or of all of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import chain

from sqlmodel import Session, select

from server.cautions import service as cautions
from server.cooldowns import night_orders
from server.cooldowns.models import Cooldown
from server.cryostats import budget, instruments, parts
from server.cryostats.models import Cryostat
from server.handover import cold, house, inside, unknown, work
from server.handover.inside import Inside
from server.handover.rules import Chapter, Clock, Gap, name_of, table_of
from server.laboratory import orders
from server.laboratory import service as laboratory
from server.people import service as people
from server.record.rules import Section, fingerprint
from server.stock import board


@dataclass(frozen=True)
class Bench:
    """One cryostat of the book: its chapters, what stands in it, what is not known of it."""

    inside: Inside
    chapters: tuple[Chapter, ...]
    gaps: tuple[Gap, ...]

    @property
    def cryostat(self) -> Cryostat:
        """Whose chapters these are."""
        return self.inside.cryostat


@dataclass(frozen=True)
class Book:
    """Everything the next steward needs, as it stood at `clock.now`."""

    title: str
    clock: Clock
    benches: tuple[Bench, ...]
    shared: tuple[Chapter, ...]
    gaps: tuple[Gap, ...]

    @property
    def sections(self) -> tuple[Section, ...]:
        """Every table in the order of the book, what is not known first; titles say whose they are."""
        told = [table_of(self.gaps)]
        for bench in self.benches:
            told += _named(bench.chapters, bench.cryostat.name)
        return (*told, *_named(self.shared, "Laboratory"))

    @property
    def reference(self) -> str:
        """Made from everything it says: the same as long as nothing in it is altered."""
        return f"{name_of(self.title)}-{self.clock.today.isoformat()}-{fingerprint(self.sections)}"


def _named(chapters: Sequence[Chapter], whose: str) -> list[Section]:
    return [
        replace(section, title=f"{whose} · {chapter.title} · {section.title}")
        for chapter in chapters
        for section in chapter.sections
    ]


def of(session: Session, benches: Sequence[Cryostat], clock: Clock) -> Book:
    """The book of these cryostats; its queries grow with what stands open, not with the years."""
    made = tuple(_bench(session, row, clock) for row in benches)
    shared, gaps = _shared(session, clock)
    lab = laboratory.get(session)
    title = benches[0].name if len(benches) == 1 else lab.name
    return Book(title, clock, made, shared, (*chain.from_iterable(row.gaps for row in made), *gaps))


def _bench(session: Session, cryostat: Cryostat, clock: Clock) -> Bench:
    key = cryostat.id or 0
    found = inside.gather(session, cryostat, clock)
    cooler = budget.cooler(session, cryostat)
    kept = (night_orders.rule_of(session, key), night_orders.roster_of(session, key))
    ordered = orders.applying(session, instruments.subject(cryostat))
    grades, tasks = work.grade_rows(session, cryostat), work.due_tasks(session, cryostat, clock)
    cooled = session.exec(select(Cooldown.id).where(Cooldown.cryostat_id == key).limit(1)).first()
    gaps = chain(
        unknown.of_inside(found),
        unknown.of_cold(found, cooler, 1 if cooled else 0),
        unknown.of_night(found, kept, ordered),
        unknown.of_work(found, grades, tasks),
    )
    chapters = (
        inside.chapter(found, clock),
        cold.chapter(session, cryostat, cooler, clock),
        cold.night(session, cryostat, kept, ordered, clock),
        work.people(session, cryostat, grades, clock),
        work.faults(session, key, clock),
        work.drafts_open(session, cryostat, clock),
        work.plan(session, cryostat, clock),
        work.maintenance_of(session, cryostat, tasks, clock),
        work.wording(session, cryostat, clock),
    )
    return Bench(found, chapters, tuple(dict.fromkeys(gaps)))


def _shared(session: Session, clock: Clock) -> tuple[tuple[Chapter, ...], tuple[Gap, ...]]:
    lab, everyone, cards = laboratory.get(session), people.everyone(session), cautions.every(session)
    lines, listed = board.lines(session, clock.now), parts.listed(session)
    ordered = orders.applying(session, orders.LABORATORY)
    chapters = (
        house.laboratory(session, lab, everyone, clock),
        house.stock(session, lines, clock),
        house.parts_of(session, listed),
        house.own_materials(session),
        house.cautions(session, cards, clock),
        work.faults(session, None, clock),
    )
    gaps = chain(unknown.of_laboratory(lab, ordered, cards, clock.today), unknown.of_stores(lines, listed))
    return chapters, tuple(gaps)
