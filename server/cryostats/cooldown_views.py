"""What the page of cooldown times shows."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cryostats import cooldown_estimate, cooldown_rules
from server.cryostats.cooldown_basis_models import CooldownBasis
from server.cryostats.cooldown_estimate import CooldownEstimate
from server.cryostats.models import Cryostat
from server.errors import Refused
from server.people.models import Person
from server.web.forms import Form

KINDS = (
    (cooldown_rules.LEARNT, "A reference cooldown: hours since the start, and kelvin of the platform"),
    (cooldown_rules.POINTS, "Points: kelvin of the platform, and watts of cooling less all loads there"),
)


@dataclass(frozen=True)
class CooldownView:
    """The page."""

    cryostat: Cryostat
    estimate: CooldownEstimate
    versions: tuple[CooldownBasis, ...]
    may_enter: bool
    typed: Mapping[str, str]
    faults: Mapping[str, str] = field(default_factory=dict)
    kinds: tuple[tuple[str, str], ...] = KINDS


def view(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    form: Form | None = None,
    refused: Refused | None = None,
) -> CooldownView:
    """The times as they are told now, and the form as somebody typed it."""
    names = ("kind", "table", "masses", "revision", "note")
    start = Form([("kind", cooldown_rules.LEARNT), ("revision", str(cryostat.revision))])
    return CooldownView(
        cryostat=cryostat,
        estimate=cooldown_estimate.estimate(session, cryostat),
        versions=tuple(cooldown_estimate.versions(session, cryostat)),
        may_enter=person.steward,
        typed={name: (form or start).text(name) for name in names},
        faults=refused.fields if refused else {},
    )
