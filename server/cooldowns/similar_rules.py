"""How alike two configurations are, told by the elements they share. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.cryostats.rules import Difference, Put, difference

HALF = 0.5
"""An element of the same key that was altered counts for half (our own choice, no source)."""


@dataclass(frozen=True)
class Likeness:
    """What two configurations share: `same` elements of `of`, and what differs."""

    same: int
    of: int
    differs: Difference

    @property
    def share(self) -> float:
        """From 0, nothing in common, to 1, the same."""
        return (self.same + HALF * len(self.differs.altered)) / self.of if self.of else 1.0


def likeness(one: Mapping[str, Put], other: Mapping[str, Put]) -> Likeness:
    """How alike they are; the difference goes from `one` to `other`. Names and notes do not count."""
    before, after = _bare(one), _bare(other)
    found = difference(before, after)
    keys = before.keys() | after.keys()
    apart = len(found.added) + len(found.taken) + len(found.altered)
    return Likeness(len(keys) - apart, len(keys), _named(found, one, other))


def _bare(puts: Mapping[str, Put]) -> dict[str, Put]:
    """The elements without what a book keeps beside them."""
    return {key: Put(put.key, put.kind, put.data) for key, put in puts.items()}


def _named(found: Difference, one: Mapping[str, Put], other: Mapping[str, Put]) -> Difference:
    """The same difference with the names people know the elements by."""
    full = difference(one, other)
    altered = {row.after.key for row in found.altered}
    return Difference(full.added, full.taken, tuple(row for row in full.altered if row.after.key in altered))
