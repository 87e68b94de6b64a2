"""Two who want one cryostat: the two orders with their ends, and both together. Pure arithmetic of chains."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from server.bookings.laying import Chain, Ground, Kit, Wish, earliest
from server.bookings.rules import ALONE, HAND_OUT, NONE, WARM_UP, Phase


@dataclass(frozen=True)
class Outcome:
    """What one way of settling takes, the warm-up after the last one included."""

    names: tuple[str, ...]
    chains: tuple[Chain, ...]
    ends: datetime
    """When the last window is over, handed over and warm, could somebody be there at once."""

    @property
    def free(self) -> datetime:
        """When the next can have it: handed over in working hours."""
        return self.chains[-1].ends

    @property
    def starts(self) -> datetime:
        """When the first of them takes it."""
        return self.chains[0].starts

    @property
    def hours(self) -> float:
        """From the first hand on it to warm again."""
        return (self.ends - self.starts) / timedelta(hours=1)

    @property
    def hands_on_h(self) -> float:
        """Hours in which somebody must be there."""
        return sum(row.hours for row in self._phases() if row.hands_on)

    @property
    def slack_h(self) -> float | None:
        """The least slack of its chains: how far work may slip before it moves to another day."""
        slacks = [chain.slack for chain in self.chains if chain.slack is not None and chain.change != NONE]
        return min(slacks) / timedelta(hours=1) if slacks else None

    @property
    def openings(self) -> int:
        """How often it is opened."""
        return sum(1 for chain in self.chains if chain.change != NONE)

    def _phases(self) -> list[Phase]:
        return [row for chain in self.chains for row in chain.phases]


def in_order(kit: Kit, ground: Ground, asked: Sequence[tuple[str, Wish]], begins: datetime) -> Outcome | None:
    """One after the other, each as early as it can be; None when one of them cannot be laid."""
    chains: list[Chain] = []
    for _, wish in asked:
        chain = earliest(kit, ground, wish, max(begins, ground.free_from))
        if chain is None:
            return None
        chains.append(chain)
        ground = Ground(chain.configuration, True, chain.ends)
    last = kit.durations[HAND_OUT].length + kit.durations[ALONE if kit.alone else WARM_UP].length
    return Outcome(tuple(name for name, _ in asked), tuple(chains), chains[-1].window.ends + last)


def together(
    kit: Kit, ground: Ground, asked: Sequence[tuple[str, Wish]], configuration: str, begins: datetime
) -> Outcome | None:
    """All in one cold window with one configuration."""
    cold = sum((wish.cold for _, wish in asked), timedelta())
    wish = replace(asked[0][1], configuration=configuration, cold=cold, as_is=False)
    found = in_order(kit, ground, [(", ".join(name for name, _ in asked), wish)], begins)
    return found and replace(found, names=tuple(name for name, _ in asked))
