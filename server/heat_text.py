"""A heat budget, and the evidence behind it, as plain text for the command line and for paper."""

from collections.abc import Iterable, Sequence

from server.physics.statistics import Band
from server.physics.thermal import Budget
from server.physics.thermal.evidence import all_evidence, evidence_counts
from server.units import in_unit, show_band, show_signed, unit_for

COST_STAGES = ("platform", "sample")


def text(budget: Budget) -> str:
    """Stages, elements with what they bring and cost, largest first, then what to look at."""
    parts = [_stages(budget), _elements(budget), _remarks(budget)]
    return "\n\n".join(part for part in parts if part)


def _stages(budget: Budget) -> str:
    rows = [("stage", "temperature", "limit", "status", "left")]
    for stage, margin in budget.margins.items():
        band = budget.temperatures.get(stage)
        rows.append(
            (
                stage,
                show_band(band, "K") if band else "not computed",
                in_unit(margin.limit_K, "K") if margin.limit_K else "-",
                margin.status,
                show_signed(margin.spare_W, unit_for([margin.spare_W], "W")) if margin.spare_W else "-",
            )
        )
    return _table(rows)


def _elements(budget: Budget) -> str:
    stages = list(budget.margins)
    rows: list[Sequence[str]] = [
        ("element", *(f"to {stage}" for stage in stages), *(f"costs {s}" for s in _cold(stages)))
    ]
    for key in sorted(budget.heats, key=lambda key: (-_weight(budget.costs.get(key, {}).values()), key)):
        heats = [_heat(budget.heats[key].get(stage)) for stage in stages]
        costs = [_cost(budget.costs.get(key, {}).get(stage)) for stage in _cold(stages)]
        rows.append((key, *heats, *costs))
    return _table(rows) if len(rows) > 1 else ""


def _cold(stages: Sequence[str]) -> list[str]:
    return [stage for stage in COST_STAGES if stage in stages]


def _weight(costs: Iterable[Band]) -> float:
    return max((float("inf") if cost.high is None else cost.middle for cost in costs), default=0.0)


def _heat(band: Band | None) -> str:
    return show_band(band, unit_for([band], "W")) if band else "-"


def _cost(band: Band | None) -> str:
    return show_signed(band, unit_for([band], "K")) if band else "-"


def _remarks(budget: Budget) -> str:
    lines = [f"look at: {warning.text}" for warning in budget.warnings]
    lines += [f"not known: {gap.key or 'cryostat'}: {gap.reason}" for gap in budget.gaps]
    lines.append(f"model {budget.model}; ranges are the central 95 %")
    return "\n".join(lines)


def evidence() -> tuple[str, int]:
    """Published values beside the computed ones, and how many lie outside their tolerance."""
    rows: list[Sequence[str]] = [
        ("mechanism", "quantity", "published", "computed", "unit", "off by", "tolerance", "tag", "source")
    ]
    for row in all_evidence():
        numbers = f"{row.published:.5g}", f"{row.computed:.5g}", row.unit
        shares = f"{row.deviation:+.2%}", f"{row.tolerance:.2%}"
        rows.append((row.mechanism, row.quantity, *numbers, *shares, row.tag, row.source))
    outside = sum(not row.holds for row in all_evidence())
    counts = ", ".join(f"{count} {tag}" for tag, count in evidence_counts().items())
    return f"{_table(rows)}\n\n{len(rows) - 1} values: {counts}; {outside} outside their tolerance", outside


def _table(rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
