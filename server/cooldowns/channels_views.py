"""What the pages of channels show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cooldowns import channels
from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import QUANTITIES
from server.cryostats import guards
from server.cryostats.models import Cryostat
from server.cryostats.rules import REWIRE
from server.people.models import Person
from server.units import show


@dataclass(frozen=True)
class ChannelsView:
    """The page of a cryostat's channels, with the form of a new one or of one that is altered."""

    cryostat: Cryostat
    rows: Sequence[Channel]
    may_alter: bool
    altered: Channel | None
    faults: Mapping[str, str]
    typed: Mapping[str, str]
    quantities: Sequence[tuple[str, str]] = field(
        default_factory=lambda: [(key, row.label) for key, row in QUANTITIES.items()]
    )

    def label(self, row: Channel) -> str:
        """What it measures, in words."""
        return QUANTITIES[row.quantity].label

    def silence(self, row: Channel) -> str:
        """How long it may be silent, in words."""
        return "may be silent" if row.silent_after_s is None else shown_time(row.silent_after_s)

    @property
    def stages(self) -> Sequence[tuple[str, str]]:
        """What it may tell of."""
        return [("", "none"), *((stage, stage) for stage in self.cryostat.stages)]

    @property
    def units(self) -> Sequence[tuple[str, Sequence[tuple[str, str]]]]:
        """The units by what they measure."""
        return [
            (row.label, [(unit, unit or "none") for unit in row.units])
            for row in {row.suffix: row for row in QUANTITIES.values()}.values()
        ]


def shown_time(seconds: float) -> str:
    """A length of time in the unit people would say it in."""
    unit = next((unit for unit, size in (("d", 86400), ("h", 3600), ("min", 60)) if seconds >= 2 * size), "s")
    return show(seconds, unit)


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    altered: Channel | None = None,
    faults: Mapping[str, str] | None = None,
    typed: Mapping[str, str] | None = None,
) -> ChannelsView:
    """Every channel, and the form."""
    assert cryostat.id is not None
    known = {} if altered is None else _typed(altered)
    return ChannelsView(
        cryostat=cryostat,
        rows=channels.of(session, cryostat.id),
        may_alter=guards.grade_of(session, person, cryostat) >= REWIRE,
        altered=altered,
        faults=faults or {},
        typed=typed if typed is not None else known,
    )


def _typed(row: Channel) -> dict[str, str]:
    silent = "" if row.silent_after_s is None else shown_time(row.silent_after_s)
    return {
        "name": row.name,
        "quantity": row.quantity,
        "unit": row.unit,
        "stage": row.stage,
        "part": row.part,
        "silent_after": silent,
    }
