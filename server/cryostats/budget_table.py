"""A heat budget as a table for spreadsheets: one number a row, with its unit and its range."""

from collections.abc import Iterator, Mapping, Sequence

from server.cryostats import budget
from server.cryostats.models import Cryostat
from server.cryostats.rules import Put
from server.physics import thermal
from server.physics.statistics import Band
from server.web import tabular
from server.web.tabular import Figure, Style

HEAD = (
    "cryostat",
    "revision",
    "cooler version",
    "model",
    "about",
    "key",
    "label",
    "kind",
    "stage",
    "quantity",
    "unit",
    "low",
    "best",
    "high",
    "remark",
)
PER_UNIT = {"K": 1.0, "mK": 1e3, "mW": 1e3}
MORE = "more than the low value; cannot be said better"
Cells = Sequence[str]


def write(
    cryostat: Cryostat, number: int | str, elements: Mapping[str, Put], found: budget.Found, style: Style
) -> str:
    """The table of a revision, or of a draft by its name.

    An empty `high` means that the value is more than `low`; an empty `best`, only a range.
    """
    common = (
        cryostat.name,
        Figure(number) if isinstance(number, int) else number,
        Figure(found.cooler_version),
        found.budget.model,
    )
    rows = [
        *_stages(cryostat, found.budget),
        *_elements(elements, found.budget),
        *_remarks(elements, found.budget),
    ]
    return tabular.written(HEAD, [(*common, *row) for row in rows], style)


def _stages(cryostat: Cryostat, computed: thermal.Budget) -> Iterator[Cells]:
    for stage in cryostat.stages[1:]:
        margin = computed.margins.get(stage)
        status = margin.status if margin else "no limit"
        yield _row("stage", None, stage, "temperature", "K", computed.temperatures.get(stage), status)
        if margin and margin.limit_K is not None:
            yield _row("stage", None, stage, "limit", "K", Band.exact(margin.limit_K), "")
            yield _row("stage", None, stage, "left below the limit", "K", margin.margin_K, status)
        if margin and margin.spare_W is not None:
            yield _row("stage", None, stage, "heat left", "mW", margin.spare_W, status)


def _elements(elements: Mapping[str, Put], computed: thermal.Budget) -> Iterator[Cells]:
    for key, put in elements.items():
        for stage, heat_W in computed.heats.get(key, {}).items():
            yield _row("element", put, stage, "heat", "mW", heat_W, "")
        for stage, cost_K in computed.costs.get(key, {}).items():
            yield _row("element", put, stage, "cost", "mK", cost_K, "")


def _remarks(elements: Mapping[str, Put], computed: thermal.Budget) -> Iterator[Cells]:
    for gap in computed.gaps:
        yield _row("gap", elements.get(gap.key or ""), gap.stage or "", "not computed", "", None, gap.reason)
    for warning in computed.warnings:
        yield _row("warning", elements.get(warning.key or ""), "", warning.code, "", None, warning.text)


def _row(
    about: str, put: Put | None, stage: str, quantity: str, unit: str, band: Band | None, remark: str
) -> Cells:
    named = (put.key, put.label, put.kind) if put else ("", "", "")
    ends = ["", "", ""] if band is None else [_figure(end, unit) for end in (band.low, band.best, band.high)]
    if band is not None and band.high is None:
        remark = "; ".join(part for part in (remark, MORE) if part)
    return (about, *named, stage, quantity, unit, *ends, remark)


def _figure(value: float | None, unit: str) -> str:
    return "" if value is None else Figure(f"{value * PER_UNIT[unit]:.6g}")
