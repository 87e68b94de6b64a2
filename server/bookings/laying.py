"""Laying a chain of phases against its left neighbour, back from a cold window or on to one. Pure."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import groupby

from server.bookings.rules import (
    COOL,
    DEFAULTS,
    HAND_OUT,
    HANDS_ON,
    NONE,
    WAIT,
    WINDOW,
    Hours,
    Phase,
    before_window,
    hours_of,
)
from server.bookings.worktime import WorkTime

Step = tuple[str, timedelta]
CLOCK = timedelta(minutes=5)


@dataclass(frozen=True)
class Ground:
    """What a chain finds: the configuration inside, whether it is cold, and since when nobody has it."""

    configuration: str
    cold: bool | None
    free_from: datetime


@dataclass(frozen=True)
class Kit:
    """What laying needs to know of a cryostat and its laboratory. `change` tells what a refit touches."""

    work: WorkTime
    change: Callable[[str, str], str]
    durations: Mapping[str, Hours] = field(default_factory=lambda: DEFAULTS)
    delay_h: Callable[[str], float] = lambda _configuration: 0.0
    """How much longer a configuration takes to cool for the mass it brings."""
    idle: timedelta = timedelta(hours=24)
    """How long it stays cold with nobody in it; after that nobody can know."""
    alone: bool = False
    shutdown: timedelta = timedelta(hours=24)
    """No cooling starts within this time before a shutdown of the building."""


@dataclass(frozen=True)
class Wish:
    """What is to be laid: a configuration and hours of cold.

    `as_is` takes nothing that must be opened; without a configuration it takes whatever it finds.
    """

    configuration: str
    cold: timedelta
    as_is: bool = False
    any_hour: bool = False


@dataclass(frozen=True)
class Chain:
    """A chain as it is laid: its phases touch each other."""

    phases: tuple[Phase, ...]
    configuration: str
    """What is inside during its window."""
    change: str
    """What is refitted."""
    cold_found: bool | None
    """Whether it was taken to be cold when the chain begins; None: nobody can know."""
    slack: timedelta | None = None
    """How far the hands-on work may slip before it moves to another day; None: any hour will do."""

    @property
    def starts(self) -> datetime:
        """When the cryostat is first needed."""
        return self.phases[0].starts

    @property
    def ends(self) -> datetime:
        """When it is free again."""
        return self.phases[-1].ends

    @property
    def window(self) -> Phase:
        """The cold window; of a chain that was cut before it, none of it, at the end."""
        return self.of(WINDOW) or Phase(WINDOW, self.ends, self.ends)

    def of(self, kind: str) -> Phase | None:
        """The phase of this kind, where there is one."""
        return next((row for row in self.phases if row.kind == kind), None)

    def hours(self, kinds: Iterable[str]) -> float:
        """Hours in phases of these kinds."""
        wanted = set(kinds)
        return sum(row.hours for row in self.phases if row.kind in wanted)


def lay(kit: Kit, ground: Ground, wish: Wish, cold_starts: datetime) -> Chain | None:
    """The chain whose cold window begins at `cold_starts`, each hands-on stretch as late as it may be.

    None when it would begin before the ground is free.
    """
    wish = found_by(ground, wish)
    change = kit.change(ground.configuration, wish.configuration)
    if wish.as_is and change != NONE:
        return None
    chain = _backwards(kit, wish, change, ground.cold, cold_starts)
    if chain is not None and ground.cold and chain.starts - ground.free_from > kit.idle:
        chain = _backwards(kit, wish, change, None, cold_starts)
    return chain if chain is not None and chain.starts >= ground.free_from else None


def earliest(kit: Kit, ground: Ground, wish: Wish, not_before: datetime) -> Chain | None:
    """The chain with the first cold window that can be had, beginning no earlier than `not_before`."""
    wish = found_by(ground, wish)
    change = kit.change(ground.configuration, wish.configuration)
    after = max(ground.free_from, not_before)
    for cold in dict.fromkeys((ground.cold, None)):
        found = _forwards(kit, wish, change, cold, after)
        chain = lay(kit, ground, wish, on_the_clock(found)) if found is not None else None
        if chain is not None and chain.starts >= not_before:
            return chain
    return None


def on_the_clock(moment: datetime) -> datetime:
    """The next moment that people would write down: a multiple of five minutes."""
    over = timedelta(minutes=moment.minute % 5, seconds=moment.second, microseconds=moment.microsecond)
    return moment + (CLOCK - over if over else timedelta())


def found_by(ground: Ground, wish: Wish) -> Wish:
    """The wish with its configuration, where it takes whatever it finds."""
    return wish if wish.configuration else replace(wish, configuration=ground.configuration)


def _steps(kit: Kit, wish: Wish, change: str, cold: bool | None) -> list[Step]:
    delay = timedelta(hours=kit.delay_h(wish.configuration) if change != NONE else 0)
    steps = []
    for kind in before_window(change, cold):
        length = hours_of(kind, change, kit.durations, alone=kit.alone)
        steps.append((kind, length + delay if kind == COOL else length))
    return steps


def _groups(steps: Sequence[Step]) -> list[tuple[bool, list[Step]]]:
    """Neighbouring steps that a person does in one go, and those that need nobody."""
    return [(hands_on, list(rows)) for hands_on, rows in groupby(steps, lambda step: step[0] in HANDS_ON)]


def _length(steps: Iterable[Step]) -> timedelta:
    return sum((length for _, length in steps), timedelta())


def at_any_hour(work: WorkTime) -> WorkTime:
    """The same laboratory for somebody whose hands-on work may fall at any hour."""
    return replace(work, always=True)


def _work(kit: Kit, wish: Wish) -> WorkTime:
    return at_any_hour(kit.work) if wish.any_hour else kit.work


def _forwards(kit: Kit, wish: Wish, change: str, cold: bool | None, after: datetime) -> datetime | None:
    """The earliest moment at which a cold window may begin."""
    at: datetime | None = after
    for hands_on, rows in _groups(_steps(kit, wish, change, cold)):
        if at is None:
            return None
        start = _work(kit, wish).first_fit(at, _length(rows)) if hands_on else at
        at = start + _length(rows) if start is not None else None
    return at


def _backwards(kit: Kit, wish: Wish, change: str, cold: bool | None, cold_starts: datetime) -> Chain | None:
    """Hands-on stretches as late as they may be; what needs nobody follows at once and leaves spare time."""
    work = _work(kit, wish)
    groups = _groups(_steps(kit, wish, change, cold))
    starts: list[datetime] = []
    end = cold_starts
    for hands_on, rows in reversed(groups):
        start = work.last_fit(end, _length(rows)) if hands_on else end - _length(rows)
        if start is None:
            return None
        starts.append(start)
        end = start
    laid, slack = _forward_again(groups, starts[::-1], work)
    out = hours_of(HAND_OUT, change, kit.durations)
    window_ends = cold_starts + wish.cold
    out_starts = work.first_fit(window_ends, out)
    if out_starts is None:
        return None
    laid += [Phase(WINDOW, cold_starts, window_ends), Phase(HAND_OUT, out_starts, out_starts + out)]
    return Chain(touching(laid), wish.configuration, change, cold, slack)


def _forward_again(
    groups: Sequence[tuple[bool, list[Step]]], starts: Sequence[datetime], work: WorkTime
) -> tuple[list[Phase], timedelta | None]:
    laid: list[Phase] = []
    slacks: list[timedelta] = []
    for (hands_on, rows), start in zip(groups, starts, strict=True):
        at = start if hands_on or not laid else laid[-1].ends
        for kind, length in rows:
            laid.append(Phase(kind, at, at + length))
            at += length
        slack = work.slack(at) if hands_on and len(rows) > 1 else None
        slacks += [slack] if slack is not None else []
    return laid, min(slacks, default=None)


def touching(phases: Sequence[Phase]) -> tuple[Phase, ...]:
    """The same phases with the waits between them said, and those that take no time left out."""
    found: list[Phase] = []
    for row in phases:
        if found and row.starts > found[-1].ends:
            found.append(Phase(WAIT, found[-1].ends, row.starts))
        if row.ends > row.starts:
            found.append(row)
    return tuple(found)
