"""What the pages of samples show: those inside a cryostat, and those planned on a draft."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sqlmodel import Session

from server.cautions import service as cautions
from server.cautions.models import Card
from server.cryostats import contents, drafts, guards, samples, samples_planned
from server.cryostats.draft_rules import DRAWING
from server.cryostats.drafts import Sheet
from server.cryostats.models import Cryostat
from server.cryostats.rules import OPEN, OPERATE, STEWARD, Put
from server.cryostats.samples import ATTACH, HAZARDS, Inside
from server.cryostats.samples_models import Sample, SampleStep
from server.cryostats.samples_planned import Planned
from server.laboratory import orders
from server.laboratory.order_models import StandingOrder
from server.people.models import Person
from server.people.service import everyone

CARDS = ("S19", "S11")


@dataclass(frozen=True)
class Asked:
    """The form of a sample: what may be chosen, what was typed, what is to be mended."""

    people: Sequence[tuple[str, str]]
    mounts: Sequence[tuple[str, str]]
    cards: Sequence[Card]
    typed: Mapping[str, str]
    faults: Mapping[str, str]
    hazards: Sequence[tuple[str, str]] = tuple(HAZARDS.items())
    attaches: Sequence[tuple[str, str]] = tuple(ATTACH.items())


@dataclass(frozen=True)
class Words:
    """What the keys of a stored sample are called."""

    hazard: Mapping[str, str] = field(default_factory=lambda: HAZARDS)
    attach: Mapping[str, str] = field(default_factory=lambda: ATTACH)
    mount: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class SamplesView:
    """The samples of a cryostat, and the form for one more."""

    cryostat: Cryostat
    inside: Sequence[Inside]
    gone: Sequence[tuple[Sample, SampleStep]]
    may_enter: bool
    may_approve: bool
    orders: Sequence[StandingOrder]
    asked: Asked
    words: Words
    faults: Mapping[str, str]


def page(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> SamplesView:
    """What is inside, what was, and what was typed so far."""
    grade = guards.grade_of(session, person, cryostat)
    present = contents.elements(session, cryostat, cryostat.revision)
    begun = {"revision": str(cryostat.revision), "owner": str(person.id), "attach": "unknown"}
    return SamplesView(
        cryostat=cryostat,
        inside=samples.inside(session, [cryostat]).get(cryostat.id or 0, ()),
        gone=samples.gone(session, cryostat),
        may_enter=grade >= OPEN,
        may_approve=grade >= STEWARD,
        orders=orders.applying(session, f"cryostat/{cryostat.slug}"),
        asked=_asked(session, present, typed or begun, faults),
        words=Words(mount=dict(samples.mounts(present))),
        faults=faults or {},
    )


def _asked(
    session: Session,
    ground: Mapping[str, Put],
    typed: Mapping[str, str],
    faults: Mapping[str, str] | None,
) -> Asked:
    return Asked(
        people=[("", "choose"), *((str(row.id), row.name) for row in everyone(session))],
        mounts=[("", "not said"), *samples.mounts(ground)],
        cards=cautions.for_codes(session, CARDS),
        typed=typed,
        faults=faults or {},
    )


@dataclass(frozen=True)
class PlannedView:
    """The samples planned on a draft, and the form for one more."""

    sheet: Sheet
    rows: Sequence[Planned]
    may_plan: bool
    drawn: bool
    """True while the draft is drawn; later its samples stand still."""
    orders: Sequence[StandingOrder]
    asked: Asked
    words: Words
    faults: Mapping[str, str]


def planned(
    session: Session,
    person: Person,
    sheet: Sheet,
    typed: Mapping[str, str] | None = None,
    faults: Mapping[str, str] | None = None,
) -> PlannedView:
    """What shall come in with a draft, on the joints that will then be there."""
    ground = drafts.intended(session, sheet.cryostat, sheet.version)
    grade = guards.grade_of(session, person, sheet.cryostat)
    own = person.id == sheet.draft.by_id or person.id in drafts.party_keys(sheet)
    return PlannedView(
        sheet=sheet,
        rows=samples_planned.of_draft(session, sheet.draft),
        may_plan=person.steward or (own and grade >= OPERATE and not sheet.draft.house),
        drawn=sheet.standing.state == DRAWING,
        orders=orders.applying(session, f"cryostat/{sheet.cryostat.slug}"),
        asked=_asked(session, ground, typed or {"owner": str(person.id), "attach": "unknown"}, faults),
        words=Words(mount=dict(samples.mounts(ground))),
        faults=faults or {},
    )
