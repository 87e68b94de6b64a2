"""What the page of the booking rules shows: every number with what set it, and the groups."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session, select

from server.bookings import fairness, ruling
from server.bookings.models import Group, Member, RuleEntry
from server.bookings.numbers import HOURS, ONLY_LABORATORY, RULES, Number, Numbers
from server.cryostats import instruments
from server.cryostats.models import Cryostat
from server.people.models import Person
from server.people.service import everyone


@dataclass(frozen=True)
class Row:
    """One number as it holds here."""

    number: Number
    value: str
    source: str
    """Default, laboratory, or this cryostat."""

    @property
    def shown(self) -> str:
        """The value in words."""
        return self.number.choices.get(self.value, self.value) or "none"


@dataclass(frozen=True)
class Team:
    """A group with its people."""

    group: Group
    people: Sequence[Person]
    others: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class RulesView:
    """The numbers of one scope."""

    scope: str
    cryostat: Cryostat | None
    cryostats: Sequence[Cryostat]
    rules: Sequence[Row]
    hours: Sequence[Row]
    entries: Sequence[RuleEntry]
    teams: Sequence[Team]
    may_write: bool
    typed: Mapping[str, str]
    faults: Mapping[str, str]

    @property
    def choices(self) -> list[tuple[str, str]]:
        """The numbers that may be set here."""
        return [(row.number.key, row.number.words) for row in (*self.rules, *self.hours)]

    @property
    def name(self) -> str:
        """Where these hold."""
        return self.cryostat.name if self.cryostat else "the laboratory"


def page(
    session: Session,
    person: Person,
    scope: str,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> RulesView:
    """The rules as they hold in a scope."""
    cryostats = instruments.all_of(session)
    found = ruling.in_force(session, scope)
    house = found[ruling.LABORATORY]
    rules = [row for row in RULES if scope == ruling.LABORATORY or row.key not in ONLY_LABORATORY]
    return RulesView(
        scope=scope,
        cryostat=next((row for row in cryostats if row.slug == scope), None),
        cryostats=cryostats,
        rules=[_row(row, found[scope], house, scope) for row in rules],
        hours=[_row(row, found[scope], house, scope) for row in HOURS],
        entries=ruling.entries(session, scope),
        teams=_teams(session),
        may_write=person.steward,
        typed=typed or {},
        faults=faults or {},
    )


def _row(number: Number, here: Numbers, house: Numbers, scope: str) -> Row:
    value = here.text(number.key)
    if number.key not in here.set:
        return Row(number, value, "default, from memory")
    own = scope == ruling.LABORATORY or here.set[number.key] != house.set.get(number.key)
    return Row(number, value, "set for this cryostat" if own and scope != ruling.LABORATORY else "laboratory")


def _teams(session: Session) -> list[Team]:
    people = [row for row in everyone(session) if row.active]
    members = session.exec(select(Member)).all()
    found = []
    for group in fairness.groups(session):
        keys = {row.person_id for row in members if row.group_id == group.id}
        others = [(str(row.id), row.name) for row in people if row.id not in keys]
        found.append(Team(group, [row for row in people if row.id in keys], others))
    return found
