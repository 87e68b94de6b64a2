"""The chain of phases around a cold window: which there are, and how long they take. Pure.

The phases, whether a person is needed, and the default hours are common practice, no source; the numbers are
from memory, for an ordinary small cryostat, until its own openings and cooldowns say better.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

HAND_IN, WARM_UP, VENT, REFIT, CLOSE = "hand-over-in", "warm-up", "vent", "refit", "close"
PUMP, COOL, SETTLE, WINDOW, HAND_OUT, WAIT = "pump", "cool", "settle", "window", "hand-over-out", "wait"
WORDS = {
    HAND_IN: "hand-over in",
    WARM_UP: "warm-up",
    VENT: "vent",
    REFIT: "refit",
    CLOSE: "close",
    PUMP: "pump",
    COOL: "cool",
    SETTLE: "settle",
    WINDOW: "cold window",
    HAND_OUT: "hand-over out",
    WAIT: "wait",
}
HANDS_ON = frozenset({HAND_IN, VENT, REFIT, CLOSE, HAND_OUT})
NONE, SAMPLE, WIRES, OPTICS = "none", "sample", "wires", "optics"
CLASSES = {NONE: "nothing inside", SAMPLE: "sample only", WIRES: "wires", OPTICS: "lid, windows, optics"}
ALONE = "warm-up-alone"


@dataclass(frozen=True)
class Hours:
    """How long something takes, in hours: the median and the central 80 %, and what says so."""

    best: float
    low: float
    high: float
    source: str = "default, from memory"

    @property
    def length(self) -> timedelta:
        """The median as a length of time."""
        return timedelta(hours=self.best)


DEFAULTS: Mapping[str, Hours] = {
    HAND_IN: Hours(0.3, 0.3, 0.3),
    WARM_UP: Hours(3, 2, 5),
    ALONE: Hours(16, 12, 30),
    VENT: Hours(0.5, 0.5, 0.5),
    f"{REFIT}-{SAMPLE}": Hours(1.5, 1.5, 1.5),
    f"{REFIT}-{WIRES}": Hours(4, 4, 4),
    f"{REFIT}-{OPTICS}": Hours(6, 6, 6),
    CLOSE: Hours(0.5, 0.5, 1),
    PUMP: Hours(2, 1, 3),
    COOL: Hours(4, 3.5, 5),
    SETTLE: Hours(1, 0.5, 12),
    HAND_OUT: Hours(0.5, 0.5, 0.5),
}
DURATION_WORDS = {
    **{key: WORDS[key] for key in DEFAULTS if key in WORDS},
    WARM_UP: "warm-up, assisted",
    ALONE: "warm-up, unassisted",
    f"{REFIT}-{SAMPLE}": "refit, sample only",
    f"{REFIT}-{WIRES}": "refit, wires",
    f"{REFIT}-{OPTICS}": "refit, lid, windows, optics",
}


@dataclass(frozen=True)
class Phase:
    """One stretch of a chain; the next begins where it ends."""

    kind: str
    starts: datetime
    ends: datetime

    @property
    def hours(self) -> float:
        """How long it lasts."""
        return (self.ends - self.starts) / timedelta(hours=1)

    @property
    def hands_on(self) -> bool:
        """True when a person is needed."""
        return self.kind in HANDS_ON

    @property
    def words(self) -> str:
        """What a page calls it."""
        return WORDS[self.kind]


def before_window(change: str, cold: bool | None) -> tuple[str, ...]:
    """The phases before a cold window, from what is refitted and whether the cryostat is cold.

    Where nobody can know whether it is cold (`None`), room is kept for both: for warming up if it must be
    opened, for cooling down if it need not be.
    """
    down = (PUMP, COOL, SETTLE)
    if change == NONE:
        return (HAND_IN,) if cold else (HAND_IN, *down)
    warm = () if cold is False else (WARM_UP,)
    return (HAND_IN, *warm, VENT, REFIT, CLOSE, *down)


def hours_of(kind: str, change: str, durations: Mapping[str, Hours], *, alone: bool = False) -> timedelta:
    """How long a phase is planned to take; `alone` is the unassisted warm-up."""
    key = f"{REFIT}-{change}" if kind == REFIT else ALONE if kind == WARM_UP and alone else kind
    return durations[key].length
