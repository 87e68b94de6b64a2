"""The five lists as a cryostat begins with them; the steward rewords them. Pure.

What stands on them and why is common practice, no source, but for nitrogen: among those it killed were
rescuers as well (US Chemical Safety Board, bulletin 2003-10-B).
"""

from dataclasses import dataclass

from server.checklists.lines import Line
from server.checklists.own_closing import BEFORE_CLOSING, NEWCOMER, VIBRATION
from server.checklists.own_cooling import BEFORE_COOLING, BEFORE_WARMING
from server.cryostats.rules import OPEN, OPERATE


@dataclass(frozen=True)
class List:
    """One list: its title, when it is gone through, who may, and the time below which nobody has looked."""

    title: str
    when: str
    grade: int
    least_s: float
    lines: tuple[Line, ...]


LISTS = {
    "before-closing": List("Before closing", "Lid, then can", OPEN, 180.0, BEFORE_CLOSING),
    "before-cooling": List(
        "Before cooling", "Pumped, and before the compressor is switched on", OPERATE, 90.0, BEFORE_COOLING
    ),
    "before-warming": List(
        "Before warming and venting", "Before anything is switched off", OPERATE, 90.0, BEFORE_WARMING
    ),
    "vibration-installation": List(
        "Vibration installation", "After a move, or when it shakes", OPEN, 60.0, VIBRATION
    ),
    "newcomer-training": List(
        "Newcomer training", "Over the first month, each line on its day", 0, 60.0, NEWCOMER
    ),
}
"""Key → list, in the order of a year's work."""
GATES = {"before-cooling": ("pressure",), "before-warming": ("relief-free", "all-warm", "oxygen")}
"""The lines that may hold something back. Everything else reminds: too many gates teach people to lie."""
