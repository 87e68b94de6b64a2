"""What the list of the cooldowns of a cryostat shows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from server.cooldowns import residual, rules, trends
from server.cooldowns.finding import Sheet, cooldowns_of, sheets, under_way
from server.cooldowns.models import Cooldown, TrendBreak
from server.cooldowns.residual_rules import INSIDE, NOT_COMPARABLE, OUTSIDE, Residual
from server.cooldowns.rules import Usual
from server.cooldowns.trends import PHASES
from server.cooldowns.views import Trouble
from server.cryostats import contents, guards
from server.cryostats import service as cryostats
from server.cryostats.models import Cryostat, Revision
from server.cryostats.rules import OPEN, STEWARD, Difference, difference
from server.people.models import Person
from server.units import in_unit

PAGE = 40


@dataclass(frozen=True)
class Row:
    """One cooldown of the list."""

    sheet: Sheet
    residuals: Sequence[Residual]
    to_ten_K: str
    changed: Difference | None
    """What lies between its configuration and that of the cooldown before; None for the first."""
    reasons: Sequence[Revision]
    breaks: Sequence[TrendBreak]
    """Breaks of the trend between it and the one before."""

    @property
    def verdict(self) -> str:
        """Outside where one stage is; inside where one is and none outside."""
        verdicts = [row.verdict for row in self.residuals]
        return next((word for word in (OUTSIDE, INSIDE) if word in verdicts), NOT_COMPARABLE)

    @property
    def why(self) -> str:
        """Why nothing can be compared."""
        reasons = [row.reason for row in self.residuals if row.reason]
        return reasons[0] if reasons and self.verdict == NOT_COMPARABLE else ""

    @property
    def stages(self) -> Sequence[Residual]:
        """The stages of which anything is known."""
        return [row for row in self.residuals if row.measured_K is not None or row.predicted_K is not None]


@dataclass(frozen=True)
class ListView:
    """The cooldowns of a cryostat, newest first."""

    cryostat: Cryostat
    rows: Sequence[Row]
    before: int | None
    """The number from which on older ones are shown, where there are more."""
    present: Cooldown | None
    durations: Sequence[tuple[str, str, str]]
    """Phase, usual, and the band."""
    may_begin: bool
    steward: bool
    trouble: Trouble


def index(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    before: int | None = None,
    trouble: Trouble | None = None,
) -> ListView:
    """A page of them."""
    assert cryostat.id is not None
    every = [row for row in cooldowns_of(session, cryostat.id) if before is None or row.number < before]
    shown = sheets(session, cryostat, every[: PAGE + 1])
    grade = guards.grade_of(session, person, cryostat)
    present = under_way(session, cryostat.id)
    return ListView(
        cryostat=cryostat,
        rows=_rows(session, cryostat, shown)[:PAGE],
        before=shown[PAGE - 1].cooldown.number if len(every) > PAGE else None,
        present=present,
        durations=_durations(trends.durations(session, cryostat.id)),
        may_begin=grade >= OPEN and present is None,
        steward=grade >= STEWARD,
        trouble=trouble or Trouble(),
    )


def _durations(found: Mapping[str, Usual]) -> list[tuple[str, str, str]]:
    return [
        (words, in_unit(found[name].median, "h"), _band(found[name]))
        for name, words in PHASES.items()
        if name in found
    ]


def _band(usual: Usual) -> str:
    if usual.low is None or usual.high is None:
        return f"from {usual.count}, too few for a band"
    return f"the middle 80 in 100: {in_unit(usual.low, 'h')} to {in_unit(usual.high, 'h')}, of {usual.count}"


def _rows(session: Session, cryostat: Cryostat, shown: Sequence[Sheet]) -> list[Row]:
    """Each beside the one before it; the configurations come in one query."""
    if not shown:
        return []
    builds = contents.since(session, cryostat, min(sheet.expectation.revision for sheet in shown))
    revisions = {row.number: row for row in cryostats.revisions(session, cryostat, 500)}
    broken = trends.breaks(session, cryostat.id or 0)
    found = []
    for sheet, earlier in zip(shown, [*shown[1:], None], strict=True):
        here = sheet.expectation.revision
        there = earlier.expectation.revision if earlier else here
        since = earlier.cooldown.begun_at if earlier else None
        found.append(
            Row(
                sheet=sheet,
                residuals=residual.of(session, sheet),
                to_ten_K=_to_ten(sheet),
                changed=difference(builds[there], builds[here]) if earlier else None,
                reasons=[revisions[n] for n in range(there + 1, here + 1) if n in revisions],
                breaks=[row for row in broken if since and since < row.at <= sheet.cooldown.begun_at],
            )
        )
    return found


def _to_ten(sheet: Sheet) -> str:
    """How long the platform took to 10 K, else the coldest stage that has such a mark."""
    found = {mark.stage: mark for mark in rules.marks(sheet.cooldown, sheet.entries) if mark.target == "10"}
    order = ("platform", *reversed(sheet.cryostat.stages))
    mark = next((found[stage] for stage in order if stage in found), None)
    return in_unit(mark.took_s, "h") if mark else ""
