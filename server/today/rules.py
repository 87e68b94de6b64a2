"""How the first page tells ages and readings. Pure."""

from collections.abc import Sequence
from datetime import datetime

from server.cooldowns.readings_asked import Latest

TEMPERATURE = "temperature"
ORDER = ("platform", "sample", "mount", "shield")
"""Which thermometers are told first: the one every cryostat is judged by, then what hangs on it."""
MINUTE, HOUR, DAY = 60, 3600, 86400


def age_words(at: datetime, now: datetime) -> str:
    """`just now`, `4 min ago`, `3 h ago`, `12 days ago`."""
    seconds = (now - at).total_seconds()
    if seconds < MINUTE:
        return "just now"
    if seconds < HOUR:
        return f"{seconds // MINUTE:.0f} min ago"
    if seconds < 2 * DAY:
        return f"{seconds // HOUR:.0f} h ago"
    return f"{seconds // DAY:.0f} days ago"


def thermometers(rows: Sequence[Latest]) -> list[Latest]:
    """One for each stage in the order told: one that is present before one that is not, then the newest."""
    mine = [row for row in rows if row.channel.quantity == TEMPERATURE and row.channel.stage in ORDER]
    best: dict[str, Latest] = {}
    for row in sorted(mine, key=_rank):
        best[row.channel.stage] = row
    return [best[stage] for stage in ORDER if stage in best]


def _rank(row: Latest) -> tuple[bool, float]:
    return (row.value is not None, row.last_at.timestamp() if row.last_at else 0.0)
