"""The line of one cryostat: who has it when, where a wish fits, what a neighbour moved laid again. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from server.bookings.laying import Chain, Ground, Kit, Wish, earliest, lay
from server.bookings.rules import COOL

BUILDING = "building"
NEXT = timedelta(hours=6)
"""Within one gap the next slot that is offered begins so much later, at least."""


@dataclass(frozen=True)
class Block:
    """Something that stands on the line: a booking with its wish and chain, or a hold with a reason."""

    key: int
    starts: datetime
    ends: datetime
    wish: Wish | None = None
    chain: Chain | None = None
    kind: str = "booking"
    begun: bool = False
    """A chain somebody works at is never laid again."""

    @property
    def window_starts(self) -> datetime:
        """When the cold window begins."""
        assert self.chain is not None
        return self.chain.window.starts


@dataclass(frozen=True)
class Line:
    """The blocks of one cryostat in their order, before them what is there now."""

    now: Ground
    blocks: tuple[Block, ...] = ()

    def without(self, key: int) -> "Line":
        """The line when this booking is taken away."""
        return replace(self, blocks=tuple(row for row in self.blocks if not (row.wish and row.key == key)))

    def with_block(self, block: Block) -> "Line":
        """The line with one more block in its place."""
        return replace(self, blocks=tuple(sorted((*self.blocks, block), key=_mid)))

    def altered(self, key: int, chain: Chain) -> "Line":
        """The line when this booking has another chain."""
        rows = (
            replace(row, starts=chain.starts, ends=chain.ends, chain=chain)
            if row.wish is not None and row.key == key
            else row
            for row in self.blocks
        )
        return replace(self, blocks=tuple(rows))

    def fixed(self, key: int) -> "Line":
        """The line when this booking stays where it is, whatever its neighbours do."""
        rows = (replace(row, begun=True) if row.wish and row.key == key else row for row in self.blocks)
        return replace(self, blocks=tuple(rows))

    def ground_before(self, number: int) -> Ground:
        """What block `number` finds. After a hold nobody can know whether it is cold."""
        ground = self.now
        for block in self.blocks[:number]:
            ground = self._left_by(block, ground)
        return ground

    def _left_by(self, block: Block, ground: Ground) -> Ground:
        if block.ends <= self.now.free_from:
            return ground
        inside = block.chain.configuration if block.chain is not None else ground.configuration
        return Ground(inside, True if block.chain is not None else None, block.ends)

    def gaps(self) -> Iterator[tuple[Ground, Block | None]]:
        """Every gap: what a chain finds there, and what stands to its right."""
        ground = self.now
        for block in self.blocks:
            yield ground, block
            ground = self._left_by(block, ground)
        yield ground, None


def in_the_way(line: Line, starts: datetime, ends: datetime) -> tuple[Block, ...]:
    """The blocks that reach into a stretch of time."""
    return tuple(row for row in line.blocks if row.starts < ends and row.ends > starts)


def after(kit: Kit, chain: Chain, right: Block) -> Chain | None:
    """The right neighbour's chain as it would be laid after this one, keeping its window; None: no room."""
    assert right.wish is not None
    if right.begun:
        return None
    ground = Ground(chain.configuration, True, chain.ends)
    return lay(kit, ground, right.wish, right.window_starts)


def fits(kit: Kit, chain: Chain, right: Block | None) -> bool:
    """True when what stands to the right still has its room."""
    if right is None:
        return True
    if chain.ends > right.starts and (right.wish is None or right.begun):
        return False
    if right.wish is None:
        return not (right.kind == BUILDING and _cools_late(kit, chain, right))
    return after(kit, chain, right) is not None


def _cools_late(kit: Kit, chain: Chain, shutdown: Block) -> bool:
    cool = chain.of(COOL)
    return cool is not None and cool.starts > shutdown.starts - kit.shutdown


@dataclass(frozen=True)
class Slot:
    """One place for a wish: its chain, and whether it shares a neighbour's configuration."""

    chain: Chain
    joins: bool
    """True when the left neighbour leaves the same configuration cold."""
    right_again: Chain | None = None
    """The right neighbour's chain as it must be laid then; None when there is none."""


def at(kit: Kit, line: Line, wish: Wish, cold_starts: datetime, not_before: datetime) -> Slot | None:
    """The slot whose cold window begins exactly then; None when it does not fit."""
    window_ends = cold_starts + wish.cold
    if any(True for _ in in_the_way_of_window(line, cold_starts, window_ends)):
        return None
    number = sum(1 for row in line.blocks if _mid(row) < cold_starts)
    ground = line.ground_before(number)
    right = line.blocks[number] if number < len(line.blocks) else None
    chain = lay(kit, ground, wish, cold_starts)
    if chain is None or chain.starts < not_before or not fits(kit, chain, right):
        return None
    return _slot(kit, chain, right)


def _mid(block: Block) -> datetime:
    return block.chain.window.starts if block.chain is not None else block.starts


def in_the_way_of_window(line: Line, starts: datetime, ends: datetime) -> Iterator[Block]:
    """Holds and cold windows that reach into a cold window; chains around them can be laid again."""
    for row in line.blocks:
        first, last = (
            (row.chain.window.starts, row.chain.window.ends)
            if row.chain is not None
            else (row.starts, row.ends)
        )
        if first < ends and last > starts:
            yield row


def _slot(kit: Kit, chain: Chain, right: Block | None) -> Slot:
    again = after(kit, chain, right) if right is not None and right.wish is not None else None
    return Slot(chain, chain.change == "none" and chain.cold_found is True, again)


def slots(kit: Kit, line: Line, wish: Wish, first: datetime, last: datetime, most: int = 5) -> list[Slot]:
    """The first places for a wish: windows that begin at `first` or later and end by `last`."""
    found: list[Slot] = []
    for ground, right in line.gaps():
        if ground.free_from > last or len(found) >= most:
            break
        if right is not None and _too_short(ground, right, wish, first):
            continue
        found += _in_gap(kit, ground, right, wish, (first, last), most - len(found))
    return found


def _too_short(ground: Ground, right: Block, wish: Wish, first: datetime) -> bool:
    """True when not even the cold window has room before what stands to the right."""
    limit = right.starts if right.chain is None else right.chain.window.starts
    return limit - max(ground.free_from, first) < wish.cold


def _in_gap(
    kit: Kit,
    ground: Ground,
    right: Block | None,
    wish: Wish,
    span: tuple[datetime, datetime],
    most: int,
) -> list[Slot]:
    first, last = span
    found: list[Slot] = []
    begin = first
    while len(found) < most:
        chain = earliest(kit, ground, wish, begin)
        if chain is None or chain.window.ends > last or _past(chain, right):
            break
        if fits(kit, chain, right):
            found.append(_slot(kit, chain, right))
        begin = _next_day(kit, chain.starts)
    return found


def _past(chain: Chain, right: Block | None) -> bool:
    """True when the chain can only get later, and is too late already."""
    if right is None:
        return False
    limit = right.starts if right.chain is None else right.chain.window.starts
    return chain.window.ends > limit


def _next_day(kit: Kit, moment: datetime) -> datetime:
    """The next day's work, at least some hours on."""
    later = moment + NEXT
    for opens, _ in kit.work.stretches(moment):
        if opens > moment and opens >= later:
            return opens
    return later


def next_free(kit: Kit, line: Line, wish: Wish, not_before: datetime, last: datetime) -> Slot | None:
    """The first place for a wish, or None before `last`."""
    found = slots(kit, line, wish, not_before, last, 1)
    return found[0] if found else None


@dataclass(frozen=True)
class Again:
    """A line laid again: the new chains by booking, and those that lost their place."""

    chains: Mapping[int, Chain]
    homeless: tuple[int, ...] = ()


def relay(kit: Kit, line: Line, *, may_move: bool = False, last: datetime | None = None) -> Again:
    """Lay every chain that has not begun against what now stands to its left.

    The start of each cold window stays. Where that cannot be, the window moves to the first later place in
    the order of the line when `may_move`, else the booking loses its place.
    """
    chains: dict[int, Chain] = {}
    homeless: list[int] = []
    kept: list[Block] = []
    for block in line.blocks:
        ground = Line(line.now, tuple(kept)).ground_before(len(kept))
        if block.wish is None or block.begun:
            kept.append(block)
            continue
        wish = _as_found(kit, ground, block.wish)
        chain = _place(kit, line, ground, wish, block, may_move)
        if chain is None or (last is not None and chain.ends > last):
            homeless.append(block.key)
            continue
        if chain != block.chain:
            chains[block.key] = chain
        kept.append(replace(block, starts=chain.starts, ends=chain.ends, chain=chain, wish=wish))
    return Again(chains, tuple(homeless))


def _as_found(kit: Kit, ground: Ground, wish: Wish) -> Wish:
    """Whoever takes it as it is takes what the left neighbour leaves."""
    if wish.as_is and kit.change(ground.configuration, wish.configuration) != "none":
        return replace(wish, configuration=ground.configuration)
    return wish


def _place(kit: Kit, line: Line, ground: Ground, wish: Wish, block: Block, may_move: bool) -> Chain | None:
    begin = max(ground.free_from, line.now.free_from)
    fixed = [row for row in line.blocks if row.wish is None]
    for chain in (lay(kit, ground, wish, block.window_starts), _still(kit, ground, wish, block)):
        if chain is not None and chain.starts >= begin and not _hits(kit, chain, fixed):
            return chain
    return _moved(kit, ground, wish, block, fixed) if may_move else None


def _still(kit: Kit, ground: Ground, wish: Wish, block: Block) -> Chain | None:
    """The chain as it stands, where it rests on the same ground: times learnt since then move nobody."""
    chain = block.chain
    if chain is None or chain.change != kit.change(ground.configuration, wish.configuration):
        return None
    return chain if chain.cold_found in (ground.cold, None) else None


def _moved(kit: Kit, ground: Ground, wish: Wish, block: Block, fixed: Sequence[Block]) -> Chain | None:
    """The first place after its left neighbour that is no earlier than where it stood."""
    for begin in (ground.free_from, block.starts):
        chain = _clear(kit, ground, wish, fixed, max(begin, ground.free_from))
        if chain is None or chain.window.starts >= block.window_starts:
            return chain
    return chain


def _clear(kit: Kit, ground: Ground, wish: Wish, fixed: Sequence[Block], begin: datetime) -> Chain | None:
    for _ in range(len(fixed) + 1):
        chain = earliest(kit, ground, wish, begin)
        hit = _hits(kit, chain, fixed)
        if chain is None or hit is None:
            return chain
        begin = hit.ends
        ground = Ground(ground.configuration, None, hit.ends)
    return None


def _hits(kit: Kit, chain: Chain | None, fixed: Sequence[Block]) -> Block | None:
    """The hold that a chain runs into, or before which it would cool too late."""
    if chain is None:
        return None
    for row in fixed:
        late = row.kind == BUILDING and chain.starts < row.starts and _cools_late(kit, chain, row)
        if late or (row.starts < chain.ends and row.ends > chain.starts):
            return row
    return None
