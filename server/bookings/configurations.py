"""Which configuration a booking needs: named by text, read as elements, compared, weighed, priced in kelvin.

`revision:14` is what was inside then; `draft:3` is a draft's newest version.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session

from server.bookings import changes
from server.bookings.numbers import Numbers
from server.bookings.rules import COOL, NONE
from server.cryostats import budget, contents, drafts
from server.cryostats.models import Cryostat
from server.cryostats.rules import Change, Put, difference, needed_grade, puts_of
from server.errors import NotFound
from server.materials import service as materials
from server.physics import thermal
from server.physics.errors import PhysicsError
from server.physics.statistics import Band

COLD_STAGES = ("platform", "mount", "sample")
COLD_K = 4.0
INSIDE = "revision"
DRAFT = "draft"


def inside(cryostat: Cryostat) -> str:
    """The name of what is inside now."""
    return f"{INSIDE}:{cryostat.revision}"


def of_draft(number: int) -> str:
    """The name of what a draft makes of it."""
    return f"{DRAFT}:{number}"


def parted(configuration: str) -> tuple[str, int]:
    """Kind and number of a name."""
    kind, _, number = configuration.partition(":")
    return kind, int(number)


@dataclass
class Book:
    """The configurations of one cryostat as they are asked for, each read once."""

    session: Session
    cryostat: Cryostat
    rules: Numbers
    _elements: dict[str, dict[str, Put]] = field(default_factory=dict)
    _classes: dict[tuple[str, str], str] = field(default_factory=dict)
    _delays: dict[str, float] = field(default_factory=dict)

    def elements(self, configuration: str) -> Mapping[str, Put]:
        """What is inside in this configuration, by key."""
        if configuration not in self._elements:
            self._elements[configuration] = self._read(configuration)
        return self._elements[configuration]

    def name(self, configuration: str, elements: Mapping[str, Put]) -> None:
        """Give a configuration that is nowhere stored a name, so that it can be laid and compared."""
        self._elements[configuration] = dict(elements)

    def _read(self, configuration: str) -> dict[str, Put]:
        kind, number = parted(configuration)
        if kind == INSIDE:
            return contents.elements(self.session, self.cryostat, number)
        sheet = drafts.find(self.session, number)
        return drafts.intended(self.session, self.cryostat, sheet.version)

    def change(self, before: str, after: str) -> str:
        """The class of refit between two configurations."""
        if before == after:
            return NONE
        if (before, after) not in self._classes:
            self._classes[before, after] = changes.between(self.elements(before), self.elements(after))
        return self._classes[before, after]

    def work(self, before: str, after: str) -> tuple[changes.Work, ...]:
        """The steps from one to the other."""
        return changes.steps(difference(self.elements(before), self.elements(after)))

    def grade(self, before: str, after: str) -> int:
        """The grade that the refit between them asks for."""
        between = difference(self.elements(before), self.elements(after))
        change = Change("", 0, puts_of(between), tuple(put.key for put in between.taken))
        return needed_grade(change, self.elements(before))

    def delay_h(self, configuration: str) -> float:
        """Hours by which it cools more slowly than what is inside now, for the mass it brings."""
        if configuration not in self._delays:
            here = self._mass_h(self.elements(inside(self.cryostat)))
            self._delays[configuration] = max(0.0, self._mass_h(self.elements(configuration)) - here)
        return self._delays[configuration]

    def _mass_h(self, elements: Mapping[str, Put]) -> float:
        own = (
            materials.in_force(self.session) if any(row.kind == "mass" for row in elements.values()) else None
        )
        if own is None:
            return 0.0
        read = budget.read_each(elements.values(), own).values()
        masses = [row for row in read if isinstance(row, thermal.Mass) and row.stage in COLD_STAGES]
        return sum(self._one_mass_h(row) for row in masses)

    def _one_mass_h(self, mass: thermal.Mass) -> float:
        """Hours for one mass, at the power with which the cryostat cools its own; 0 where nobody knows it."""
        try:
            power = _power(self.rules.value("cold_mass_kg"), self.rules.durations[COOL].best)
            weight = _middle(mass.mass_kg)
            assert mass.material is not None
            cold = thermal.ColdMass(mass.material, weight)
            hot_K = self.cryostat.vessel_K
            return thermal.added_mass_delay_s(cold, power, hot_K, COLD_K).middle / 3600
        except (PhysicsError, AssertionError, ValueError, KeyError):
            return 0.0


def _middle(quantity: Any) -> float:
    return quantity.middle if isinstance(quantity, Band) else float(quantity)


def _power(mass_kg: float, cool_h: float) -> thermal.NetPower:
    copper = [thermal.ColdMass("copper-rrr-100", mass_kg)]
    joules = thermal.enthalpy_J(copper, COLD_K, 295.0).middle
    watts = joules / (cool_h * 3600)
    return thermal.power_from_points([COLD_K, 400.0], [watts, watts])


def budget_of(book: Book, configuration: str) -> budget.Found:
    """The stored budget of a revision or a draft."""
    kind, number = parted(configuration)
    if kind == INSIDE:
        return budget.of_revision(book.session, book.cryostat, number)
    return drafts.budget_of(book.session, drafts.find(book.session, number).version)


def known(session: Session, cryostat: Cryostat, number: int) -> drafts.Sheet:
    """A draft of this cryostat that can still go in; NotFound."""
    sheet = drafts.find(session, number)
    if sheet.cryostat.id != cryostat.id or sheet.standing.over:
        raise NotFound(f"{cryostat.name} has no draft {number} that can go in.")
    return sheet


def house(session: Session, cryostat: Cryostat) -> drafts.Sheet | None:
    """The house draft, where there is one."""
    return next((row for row in drafts.of_cryostat(session, cryostat) if row.draft.house), None)


def predicted(book: Book, elements: Mapping[str, Put]) -> budget.Found:
    """The budget of elements that are nowhere stored, such as a configuration that would serve two."""
    return budget.compute(book.session, book.cryostat, elements)


def shifts_K(book: Book, before: Mapping[str, Put], after: Mapping[str, Put]) -> Mapping[str, Band]:
    """What going from one to the other does to each stage, with a band of its own."""
    return budget.shifts_K(book.session, book.cryostat, before, after)
