"""What stands beside a configuration: standing orders, the cold window, the sample, what was approved."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cryostats import contents, drafts, forgotten, samples, window, window_rules
from server.cryostats.differences import DifferenceView, difference_view
from server.cryostats.drafts import AsBuilt
from server.cryostats.forgotten import Missing
from server.cryostats.models import Cryostat
from server.cryostats.rules import Put
from server.cryostats.samples import Inside
from server.db import now
from server.laboratory import orders
from server.laboratory.order_models import StandingOrder


@dataclass(frozen=True)
class BuiltView:
    """As built against as approved."""

    built: AsBuilt
    diff: DifferenceView


@dataclass(frozen=True)
class BesideView:
    """All of it, as it is now."""

    home: str
    orders: Sequence[StandingOrder]
    cold: bool
    """True while the cryostat is cold, and its table holds."""
    held: Sequence[window_rules.Line]
    """The lines of the table that are held to."""
    samples: Sequence[Inside]
    built: BuiltView | None
    missing: Sequence[Missing]
    drafts_open: int

    @property
    def left(self) -> Sequence[Inside]:
        """Samples of people who have gone."""
        return left(self.samples)


def beside(session: Session, cryostat: Cryostat, elements: Mapping[str, Put] | None = None) -> BesideView:
    """What stands beside the present; what is missing is asked of `elements`, such as a draft's."""
    present = contents.elements(session, cryostat, cryostat.revision) if elements is None else elements
    built = drafts.as_built(session, cryostat)
    return BesideView(
        home=f"/cryostats/{cryostat.slug}",
        orders=orders.applying(session, f"cryostat/{cryostat.slug}"),
        cold=window.state_at(session, cryostat, now()) == window_rules.COLD,
        held=tuple(line for line in window.lines(session, cryostat) if line.held),
        samples=samples.inside(session, [cryostat]).get(cryostat.id or 0, ()),
        built=BuiltView(built, difference_view(built.difference)) if built else None,
        missing=forgotten.missing(present, cryostat.stages),
        drafts_open=sum(not row.standing.over for row in drafts.of_cryostat(session, cryostat)),
    )


def left(rows: Sequence[Inside]) -> Sequence[Inside]:
    """Those whose owner has no active account any more."""
    return tuple(row for row in rows if not row.owner_active)


def left_behind(session: Session, cryostats: Sequence[Cryostat]) -> Mapping[int, Sequence[Inside]]:
    """Cryostat key → the samples people left in it, for the list."""
    found = samples.inside(session, cryostats)
    return {key: gone for key, rows in found.items() if (gone := left(rows))}
