"""What an element becomes before anything is solved: heat paths between stages, and what is unsure of them.

A *term* carries a coefficient times the difference of a row (see `rows`) between two stages. A *knob* is one
thing that is not known exactly; it changes the coefficients of its own element and of no other.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from server.physics.materials.arrays import Array
from server.physics.statistics import Band, Quantity
from server.physics.thermal import fields
from server.physics.thermal.results import Gap, Warning_
from server.physics.thermal.rows import POWER, Row

VESSEL, SHIELD, PLATFORM, MOUNT, SAMPLE = range(5)
INDEX = {stage: number for number, stage in enumerate(fields.STAGES)}
USUAL_K = (295.0, 35.0, 4.0, 4.0, 4.2)
"""Where the stages of an ordinary cryostat stand, for what depends on temperature only a little."""


class Place(NamedTuple):
    """Where an element stands: which stages there are, and how warm each is about."""

    present: tuple[bool, ...]
    temperatures_K: tuple[float, ...]

    def has(self, stage: str) -> bool:
        """Whether the cryostat has that stage."""
        return self.present[INDEX[stage]]

    @property
    def coldest(self) -> int:
        """The platform, or the coldest stage there is instead of it."""
        if self.present[PLATFORM]:
            return PLATFORM
        return max(stage for stage in range(5) if self.present[stage])


class Term(NamedTuple):
    """One heat path. Heat leaves `hot` and enters `cold`; for given watts both are the stage they enter."""

    row: Row
    hot: int
    cold: int
    coefficient: float


def watts(stage: int, heat_W: float) -> Term:
    """Given watts into a stage."""
    return Term(POWER, stage, stage, heat_W)


class Refusal(Exception):
    """What keeps an element from being computed: the reason is a sentence, the stage the first concerned."""

    def __init__(self, reason: str, stage: str | None = None) -> None:
        super().__init__(reason)
        self.stage = stage


class Seen(NamedTuple):
    """A quantity that is not exact, as it was met."""

    what: str
    band: Band
    open_ended: bool


class Reader:
    """Hands out one number for every quantity, and remembers which of them were not exact.

    The number is the best value, of a mere range the middle, of an open end the end that is known; or
    whatever `instead` says.
    """

    def __init__(self, instead: dict[str, float] | None = None) -> None:
        self.instead = instead or {}
        self.seen: dict[str, Seen] = {}

    def __call__(
        self, name: str, what: str, quantity: Quantity, unknown: Band | None = None, open_ended: bool = False
    ) -> float:
        """The number to use for a quantity; `unknown` is what None means."""
        value = unknown if quantity is None else quantity
        if name in self.instead:
            return self.instead[name]
        if isinstance(value, Band):
            if value.is_exact:
                return value.middle
            self.seen[name] = Seen(what, value, open_ended)
            return float(value.low or 0.0) if open_ended else value.middle
        if value is None:
            raise Refusal(f"{what} is not known.")
        return value


@dataclass(frozen=True, eq=False)
class Knob:
    """One thing that is not exact, by what its low and its high end change in every coefficient.

    `ranged` if only the range is known; `open_ended` if the high end is a mere example of more.
    """

    what: str
    low: Array
    high: Array
    ranged: bool
    open_ended: bool


class Nature(NamedTuple):
    """How an element behaves, whatever its values.

    `feels`: its coefficients depend on how warm the stages are. `may_cool`: less of it may be warmer.
    `one_way`: its heat goes from warm to cold and nowhere else. `copper`: it is a run with a conductor of
    copper.
    """

    feels: bool = False
    may_cool: bool = False
    one_way: bool = True
    copper: bool = False


ORDINARY = Nature()


@dataclass(frozen=True, eq=False)
class Recipe:
    """An element, ready to be balanced.

    Attributes
    ----------
    rows : tuple of Row
        The rows it uses, each once.
    row, path : (n,) arrays
        For each term the number of its row, and 5·hot + cold.
    coefficient : (n,) array
        For each term its coefficient at the values that count as best.
    knobs : tuple of Knob
        What is not exact.
    stages : tuple of str
        The stages it touches, warmest first.
    gap : Gap or None
        Why it cannot be computed; then there are no terms.
    warnings : tuple of Warning_
        What a person should look at, whatever the temperatures.
    nature : Nature
        How the element behaves.
    """

    rows: tuple[Row, ...] = ()
    row: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    path: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    coefficient: Array = field(default_factory=lambda: np.zeros(0))
    knobs: tuple[Knob, ...] = ()
    stages: tuple[str, ...] = ()
    gap: Gap | None = None
    warnings: tuple[Warning_, ...] = ()
    nature: Nature = ORDINARY

    @cached_property
    def names(self) -> tuple[str, ...]:
        """What the knobs are called."""
        return tuple(knob.what for knob in self.knobs)

    @cached_property
    def ranged(self) -> tuple[bool, ...]:
        """Of which knobs only the range is known."""
        return tuple(knob.ranged for knob in self.knobs)

    @cached_property
    def open_ended(self) -> tuple[bool, ...]:
        """Of which knobs the high end is a mere example of more."""
        return tuple(knob.open_ended for knob in self.knobs)

    @cached_property
    def changes(self) -> tuple[NDArray[np.intp], NDArray[np.intp], Array, Array]:
        """What knobs change, one after another: number of the knob, of the term, at the low and high end."""
        count = len(self.coefficient)
        low = np.concatenate([knob.low for knob in self.knobs])
        high = np.concatenate([knob.high for knob in self.knobs])
        flat = np.flatnonzero((low != 0.0) | (high != 0.0))
        return flat // count, flat % count, low[flat], high[flat]


Builder = Callable[[Reader], list[Term]]


def cook(build: Builder, warnings: tuple[Warning_, ...] = (), unsure: bool = True) -> Recipe:
    """Run a builder once with the best values, and if `unsure` twice for everything it found unsure."""
    reader = Reader()
    terms = build(reader)
    best = _coefficients(terms)
    seen = reader.seen.items() if unsure else ()
    knobs = tuple(_knob(build, name, what, best) for name, what in seen)
    rows = tuple(dict.fromkeys(term.row for term in terms))
    number = {row: index for index, row in enumerate(rows)}
    touched = sorted({stage for term in terms for stage in (term.hot, term.cold)} - {VESSEL})
    return Recipe(
        rows=rows,
        row=np.array([number[term.row] for term in terms], dtype=np.intp),
        path=np.array([5 * term.hot + term.cold for term in terms], dtype=np.intp),
        coefficient=best,
        knobs=tuple(knob for knob in knobs if knob.low.any() or knob.high.any()),
        stages=tuple(fields.STAGES[stage] for stage in touched),
        warnings=warnings,
    )


def _knob(build: Builder, name: str, seen: Seen, best: Array) -> Knob:
    band, middle = seen.band, seen.band.middle
    ends = (middle if end is None else end for end in (band.low, band.high))
    low, high = (_coefficients(build(Reader({name: end}))) - best for end in ends)
    return Knob(seen.what, low, high, band.best is None, seen.open_ended)


def _coefficients(terms: list[Term]) -> Array:
    return np.array([term.coefficient for term in terms], dtype=float)
