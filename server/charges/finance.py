"""The lines of a month as a table for whoever keeps the accounts (RFC 4180): one row a line or correction."""

from collections.abc import Iterable, Iterator

from server.charges.finding import Told
from server.charges.models import ChargeLine
from server.charges.rules import HOUR_S, STATES, WORDS, shown
from server.web.tabular import STYLES, Figure, written

HEAD = (
    "month", "day", "line", "corrects", "payer", "kind_of_group", "account", "cryostat", "booking", "what",
    "hours", "rate_per_hour", "amount", "currency", "from", "why", "state",
)  # fmt: skip


def table(rows: Iterable[Told], style: str = "comma") -> str:
    """The whole table; amounts with two places."""
    return written(
        HEAD, (cells for told in rows for cells in _cells(told)), STYLES.get(style, STYLES["comma"])
    )


def _cells(told: Told) -> Iterator[tuple[str, ...]]:
    for line in (told.line, *told.corrections):
        yield _row(told, line)


def _row(told: Told, line: ChargeLine) -> tuple[str, ...]:
    return (
        line.month,
        line.day.isoformat(),
        Figure(line.id),
        Figure(line.corrects or ""),
        line.payer,
        line.group_kind,
        line.account,
        told.cryostat,
        Figure(line.booking_id),
        WORDS[line.what],
        Figure(f"{line.seconds / HOUR_S:.4f}"),
        Figure(shown(line.cents_per_hour)),
        Figure(shown(line.cents)),
        line.currency,
        line.basis,
        line.why,
        STATES[told.state],
    )
