"""What may be asked for: the booking rules that are numbers, and what a cancellation costs. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from server.bookings.laying import Chain
from server.bookings.numbers import Numbers
from server.bookings.rules import COOL, HAND_IN, HAND_OUT, NONE, WAIT, WINDOW, Phase
from server.bookings.worktime import WorkTime
from server.cryostats.rules import LONGEST_NOTE, text_faults

AS_IS, HOUSE, DRAFT = "as-is", "house", "draft"
WANTS = {
    AS_IS: "as it is, cold",
    HOUSE: "the house configuration",
    DRAFT: "a draft",
}
EARLIEST_YEAR, LATEST_YEAR = 1970, 2900
SHORTEST_H, LONGEST_H = 0.1, 24 * 365.0


@dataclass(frozen=True)
class Ask:
    """What somebody asks for: hours of cold and what shall be inside; the program works out the rest."""

    cold_hours: float
    purpose: str
    want: str = AS_IS
    draft_id: int | None = None
    hazards: str = ""
    wanted_K: float | None = None
    group_id: int | None = None
    helper_id: int | None = None
    any_hour: bool = False
    training: bool = False
    override: str = ""
    earliest: datetime | None = None
    latest: datetime | None = None
    cold_as_is: bool = False


def faults(ask: Ask, *, steward: bool) -> dict[str, str]:
    """What is wrong with the wish itself, field → what to do."""
    found = _text_faults(ask)
    if not SHORTEST_H <= ask.cold_hours <= LONGEST_H:
        found["cold_hours"] = "Enter the hours of cold you need, such as 40"
    if ask.want not in WANTS:
        found["want"] = "Choose what shall be inside"
    if ask.want == DRAFT and ask.draft_id is None:
        found["draft"] = "Choose the draft"
    if ask.wanted_K is not None and not 0 < ask.wanted_K <= 400:
        found["wanted_K"] = "A temperature lies between 0 and 400 K"
    if ask.earliest and ask.latest and ask.earliest >= ask.latest:
        found["latest"] = "The latest end must come after the earliest start"
    if (ask.any_hour or ask.override.strip()) and not steward:
        found["override"] = "Only a steward sets a rule aside; ask one"
    if ask.any_hour and not ask.override.strip():
        found["override"] = "Enter why work at any hour is allowed here: two people, and local leave"
    return found


def _text_faults(ask: Ask) -> dict[str, str]:
    found = text_faults("purpose", "the purpose", ask.purpose, LONGEST_NOTE)
    found |= text_faults("hazards", "the hazards", ask.hazards, LONGEST_NOTE)
    found |= text_faults("override", "the reason", ask.override, LONGEST_NOTE)
    if not ask.purpose.strip():
        found["purpose"] = "Enter what it is for, in a few words"
    return found


def rule_faults(
    ask: Ask, chain: Chain, rules: Numbers, work: WorkTime, now: datetime, approved: bool
) -> dict[str, str]:
    """The rules a steward may set aside with a reason: how far ahead, how long, approved in time."""
    found = {}
    weeks, days = rules.value("farthest_weeks"), rules.value("longest_days")
    if chain.window.starts > now + timedelta(weeks=weeks):
        found["earliest"] = f"Nobody books more than {weeks:g} weeks ahead; choose an earlier time"
    if ask.cold_hours > 24 * days:
        found["cold_hours"] = f"A cold window lasts at most {days:g} days; ask for less, or ask the steward"
    before = int(rules.value("approve_days"))
    if ask.want == DRAFT and not approved and work.days_before(chain.starts, before) < now:
        found["draft"] = (
            f"A draft is approved {before} working days before; choose a later slot or an approved draft"
        )
    return found


def tentative(window_starts: datetime, rules: Numbers, now: datetime) -> bool:
    """True beyond the weeks in which a booking is firm."""
    return window_starts > now + timedelta(weeks=rules.value("firm_weeks"))


def typed_moment_faults(name: str, moment: datetime | None) -> dict[str, str]:
    """A year no calendar here reaches."""
    if moment is not None and not EARLIEST_YEAR < moment.year < LATEST_YEAR:
        return {name: "Enter a day of this century"}
    return {}


@dataclass(frozen=True)
class Charge:
    """What a cancellation costs, in hours, and why."""

    changeover_h: float
    cold_h: float
    why: str


def changeover_hours(phases: Sequence[Phase]) -> float:
    """Hours a chain needs around its window for the change it makes; hand-overs and waits are not of it."""
    apart = {HAND_IN, HAND_OUT, WAIT, WINDOW}
    return sum(row.hours for row in phases if row.kind not in apart)


def cancel_charge(chain: Chain, frozen_at: datetime | None, now: datetime, rules: Numbers) -> Charge:
    """Free until the configuration is frozen or some hours before; then the changeover; then the cold too."""
    free_h = rules.value("cancel_h")
    cool = chain.of(COOL)
    cooling = cool.starts if cool else chain.window.starts
    changeover = changeover_hours(chain.phases)
    if now >= cooling:
        left = max(chain.window.ends - max(now, chain.window.starts), timedelta()) / timedelta(hours=1)
        return Charge(
            changeover, left, "cooling had begun: changeover, and cold hours until somebody takes them"
        )
    frozen = frozen_at is not None and chain.change != NONE
    late = now > chain.starts - timedelta(hours=free_h)
    if frozen or late:
        why = "the configuration was frozen" if frozen else f"less than {free_h:g} h before it begins"
        return Charge(changeover, 0.0, f"{why}: the changeover hours")
    return Charge(0.0, 0.0, f"more than {free_h:g} h before, nothing frozen: free")
