"""What the page of the laboratory shows, as a typed view."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.errors import Refused
from server.history import service as history
from server.history.models import Entry
from server.laboratory import service
from server.laboratory.rules import DAYS
from server.web.forms import Form


@dataclass(frozen=True)
class LaboratoryView:
    """The settings, and for a steward their form."""

    name: str
    zone: str
    days: Sequence[str]
    """Digits of the days worked."""
    opens: str
    closes: str
    country: str
    may_alter: bool
    faults: Mapping[str, str]
    record: Sequence[Entry]
    every_day: tuple[tuple[str, str], ...] = tuple((str(at), name) for at, name in enumerate(DAYS))

    @property
    def worked(self) -> str:
        """The days worked, in words."""
        return ", ".join(name for digit, name in self.every_day if digit in self.days)


def settings(
    session: Session, may_alter: bool, form: Form | None = None, refused: Refused | None = None
) -> LaboratoryView:
    """The settings as they are, or as somebody typed them and has to mend them."""
    kept = service.get(session)
    return LaboratoryView(
        name=form.text("name") if form else kept.name,
        zone=form.text("zone") if form else kept.zone,
        days=form.all("working_days") if form else tuple(kept.working_days),
        opens=form.text("opens") if form else f"{kept.opens:%H:%M}",
        closes=form.text("closes") if form else f"{kept.closes:%H:%M}",
        country=form.text("country") if form else kept.country,
        may_alter=may_alter,
        faults=refused.fields if refused else {},
        record=history.of(session, "laboratory", limit=50),
    )
