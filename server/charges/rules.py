"""What a booking is charged for, from what really happened, and the arithmetic of money. Pure.

Cold hours, changeover hours caused, hours occupied warm, hours of a helper, nothing for what an instrument
took: common practice, no source. Time is whole seconds, money whole hundredths; a half is rounded up.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import TypeVar

from server.bookings.checks import changeover_hours
from server.bookings.rules import WINDOW, Phase

COLD, CHANGEOVER, WARM, ASSISTED, LOST, USED = "cold", "changeover", "warm", "assisted", "lost", "used"
RATED = {
    COLD: "cold hours",
    CHANGEOVER: "changeover hours",
    WARM: "hours occupied warm",
    ASSISTED: "hours of a helper",
}
WORDS = {**RATED, LOST: "hours lost", USED: "used up"}
MEASURED, PLANNED, WRITTEN = "measured", "planned", "written down"
MADE, DISPUTED, STANDS, CORRECTED = "made", "disputed", "stands", "corrected"
STATES = {
    MADE: "as made",
    DISPUTED: "disputed, waits for the steward",
    STANDS: "disputed; it stands",
    CORRECTED: "disputed; corrected",
}
K = TypeVar("K")
SECOND = timedelta(seconds=1)
HOUR_S = 3600
NOT_WRITTEN = "as planned: no cooldown of these hours is written down"


@dataclass(frozen=True)
class Span:
    """A stretch of time."""

    starts: datetime
    ends: datetime


@dataclass(frozen=True)
class Loss:
    """Hours somebody wrote down as lost, and what part of them is given back."""

    ref: str
    lost_s: int
    back_s: int
    why: str


@dataclass(frozen=True)
class GivenUp:
    """What giving a booking up costs, as it was told then, and where its cold hours would have been."""

    changeover_s: int
    cold_s: int
    why: str


@dataclass(frozen=True)
class Facts:
    """What is known of one booking. `cold` is None where no cooldown says anything about its window."""

    phases: Sequence[Phase]
    cold: Sequence[Span] | None
    losses: Sequence[Loss] = ()
    helper: str = ""
    given_up: GivenUp | None = None
    left_s: int = 0
    """Changeover that stays with those who left, so that it is not charged twice."""


@dataclass(frozen=True)
class Counted:
    """Seconds of one kind, and why."""

    what: str
    seconds: int
    basis: str
    why: str
    ref: str = ""


def counted(facts: Facts) -> tuple[Counted, ...]:
    """What a booking is charged for, and what it is not charged for with the reason.

    Hours given back are taken from those it sat warm first, then from the cold ones.
    """
    window_s = _seconds(row for row in facts.phases if row.kind == WINDOW)
    cold_s = window_s if facts.cold is None else _overlap_s(facts.phases, facts.cold)
    back_s = sum(row.back_s for row in facts.losses)
    warm_s = window_s - cold_s
    basis, why = (PLANNED, NOT_WRITTEN) if facts.cold is None else (MEASURED, "from base to warming")
    rows = [
        Counted(COLD, max(cold_s - max(back_s - warm_s, 0), 0), basis, why),
        Counted(WARM, max(warm_s - back_s, 0), basis, "in its window, but not at base"),
        *_changeover(facts),
        *_assisted(facts),
        *(Counted(LOST, row.lost_s, WRITTEN, row.why, row.ref) for row in facts.losses),
    ]
    if facts.given_up is not None and facts.given_up.cold_s:
        rows.append(Counted(COLD, facts.given_up.cold_s, WRITTEN, facts.given_up.why, "given up"))
    return tuple(row for row in rows if row.seconds > 0)


def _changeover(facts: Facts) -> tuple[Counted, ...]:
    ran_s = max(round(changeover_hours(facts.phases) * HOUR_S) - facts.left_s, 0)
    if facts.given_up is not None and facts.given_up.changeover_s > ran_s:
        return (Counted(CHANGEOVER, facts.given_up.changeover_s, WRITTEN, facts.given_up.why),)
    return (Counted(CHANGEOVER, ran_s, PLANNED, "its phases before the window"),)


def _assisted(facts: Facts) -> tuple[Counted, ...]:
    hands_s = _seconds(row for row in facts.phases if row.hands_on)
    return (
        (Counted(ASSISTED, hands_s, PLANNED, f"hands-on phases with {facts.helper}"),) if facts.helper else ()
    )


def _seconds(phases: Iterable[Phase]) -> int:
    return sum((row.ends - row.starts) // SECOND for row in phases)


def _overlap_s(phases: Iterable[Phase], spans: Sequence[Span]) -> int:
    windows = [row for row in phases if row.kind == WINDOW]
    return sum(overlap_s(row.starts, row.ends, spans) for row in windows)


def overlap_s(starts: datetime, ends: datetime, spans: Iterable[Span]) -> int:
    """Seconds of a stretch that lie in any of the spans; these do not overlap each other."""
    return sum(max((min(ends, row.ends) - max(starts, row.starts)) // SECOND, 0) for row in spans)


def cents(seconds: int, cents_per_hour: int) -> int:
    """What some seconds cost, a half rounded away from zero.

    >>> cents(1800, 25)
    13
    >>> cents(-1800, 25)
    -13
    """
    size = (2 * abs(seconds) * cents_per_hour + HOUR_S) // (2 * HOUR_S)
    return size if seconds >= 0 else -size


def money(amount: Decimal) -> int:
    """An amount of a currency in whole hundredths, a half rounded up."""
    return int((amount * 100).quantize(Decimal(1), ROUND_HALF_UP))


def shown(hundredths: int) -> str:
    """Hundredths as an amount: `12.50`."""
    sign, size = "-" if hundredths < 0 else "", abs(hundredths)
    return f"{sign}{size // 100}.{size % 100:02d}"


def split(whole: int, parts: Mapping[K, float]) -> dict[K, int]:
    """A whole number divided by parts, so that the sum is the whole again.

    >>> split(100, {"a": 1.0, "b": 1.0, "c": 1.0})
    {'a': 33, 'b': 34, 'c': 33}
    """
    total, done, before = sum(parts.values()), 0.0, 0
    found = {}
    for key, part in parts.items():
        done += part
        until = round(whole * done / total) if done < total else whole
        found[key], before = until - before, until
    return found
