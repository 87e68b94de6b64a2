"""What a draft is and where it stands, from its steps; what stands in the way of building it. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Protocol

from server.cryostats import rules
from server.cryostats.rules import Change, Put
from server.laboratory.working_days import WorkingWeek

LONGEST_NAME = 80
NOTICE_DAYS = 3
"""Working days by which a draft is to be agreed to before it goes in (common practice, from memory)."""
FARTHEST_DAYS = 730
DRAWING, ASKED, APPROVED, AGREED, FROZEN = "drawing", "asked", "approved", "agreed", "frozen"
FREEZE = "freeze"
SENT_BACK, WITHDRAWN, BUILT, HOUSE = "sent back", "withdrawn", "built", "house"
WORDS = {
    DRAWING: "being drawn",
    ASKED: "asked for approval",
    APPROVED: "approved, a party has not said yes",
    AGREED: "agreed to by everybody, not frozen yet",
    FROZEN: "approved and frozen",
    SENT_BACK: "sent back",
    WITHDRAWN: "withdrawn",
    BUILT: "built",
    HOUSE: "house draft, needs no approval",
}
CHOICES = {"draft": "as the draft has it", "now": "as it is inside now"}


class Stepped(Protocol):
    """One step of a draft, as its row has it."""

    version: int
    what: str
    note: str
    at: datetime
    by_id: int | None
    by_name: str
    build_on: date | None
    freeze_on: date | None
    override: str


@dataclass(frozen=True)
class Standing:
    """Where the newest version stands. `agreed_at` is when the last of those who must has agreed."""

    state: str
    missing: tuple[str, ...] = ()
    """Names of the parties who have not said yes yet."""
    agreed_at: datetime | None = None
    conditions: str = ""
    build_on: date | None = None
    """The day it is to go in."""
    freeze_on: date | None = None
    """The day from which it is frozen; None: from the moment it is agreed to."""
    override: str = ""
    """Why a steward approved it later than the rule has it."""

    @property
    def words(self) -> str:
        """The state as people read it."""
        return WORDS[self.state]

    @property
    def buildable(self) -> bool:
        """True when it may go in."""
        return self.state in (FROZEN, HOUSE)

    @property
    def over(self) -> bool:
        """True when nothing more can be done with it."""
        return self.state in (WITHDRAWN, BUILT)


def standing(
    steps: Sequence[Stepped],
    version: int,
    parties: Sequence[Mapping[str, object]],
    today: date,
    *,
    house: bool,
) -> Standing:
    """Where version `version` stands on the day `today`; a step counts for the version it was made for."""
    if house:
        return Standing(HOUSE)
    made = [step for step in steps if step.version == version]
    last = {step.what: step for step in made}
    yes = {step.by_id: step.at for step in made if step.what == "yes"}
    missing = tuple(str(party["name"]) for party in parties if party["id"] not in yes)
    approval, back = last.get(APPROVED), last.get(SENT_BACK)
    agreed_at = max([approval.at, *yes.values()]) if approval and not missing else None
    days = {"build_on": _last_day(made, "build_on"), "freeze_on": _last_day(made, "freeze_on")}
    state = _state(last, agreed_at is not None, days["freeze_on"], today)
    return Standing(
        state,
        missing,
        agreed_at if state in (AGREED, FROZEN) else None,
        back.note if back else approval.note if approval else "",
        **days,
        override=approval.override if approval else "",
    )


def _last_day(steps: Sequence[Stepped], name: str) -> date | None:
    days = [getattr(step, name) for step in steps]
    return next((day for day in reversed(days) if day is not None), None)


def _state(last: Mapping[str, Stepped], agreed: bool, freeze_on: date | None, today: date) -> str:
    ended = next((end for end in (WITHDRAWN, BUILT, SENT_BACK) if end in last), "")
    if ended:
        return ended
    if APPROVED not in last:
        return ASKED if ASKED in last else DRAWING
    if not agreed:
        return APPROVED
    return AGREED if freeze_on is not None and today < freeze_on else FROZEN


def freeze_default(build_on: date | None, today: date, week: WorkingWeek) -> date:
    """The day a draft is frozen from when nobody says another: three working days before it goes in."""
    return today if build_on is None else max(today, week.before(build_on, NOTICE_DAYS))


def notice(build_on: date | None, today: date, week: WorkingWeek) -> int | None:
    """Working days from today until it goes in; None where no day is named."""
    return None if build_on is None else week.between(today, build_on)


def late(build_on: date | None, today: date, week: WorkingWeek) -> str:
    """That agreement comes late, in one sentence; empty when it does not."""
    left = notice(build_on, today, week)
    if left is None or left >= NOTICE_DAYS:
        return ""
    days = "one working day" if left == 1 else f"{left} working days" if left else "no working day"
    return f"It is to go in on {build_on}: {days} from now, where {NOTICE_DAYS} are asked"


def build_day_faults(build_on: date | None, today: date) -> dict[str, str]:
    """A day on which nothing can go in."""
    if build_on is None or 0 <= (build_on - today).days <= FARTHEST_DAYS:
        return {}
    return {"build_on": "Enter today or a day ahead, within two years"}


def freeze_day_faults(freeze_on: date, build_on: date | None, today: date) -> dict[str, str]:
    """A day from which nothing can be frozen."""
    if freeze_on < today:
        return {"freeze_on": "It can be frozen from today on, or from a day ahead"}
    if (freeze_on - today).days > FARTHEST_DAYS:
        return {"freeze_on": "Enter a day within two years"}
    if build_on is not None and freeze_on > max(build_on, today):
        return {"freeze_on": f"It goes in on {build_on}; freeze it on that day or before"}
    return {}


def faults(name: str, change: Change, ground: Mapping[str, Put]) -> dict[str, str]:
    """What a draft itself gets wrong. `ground` is what the base revision holds."""
    found = rules.text_faults("name", "the name", name, LONGEST_NAME)
    found |= rules.text_faults("reason", "the reason", change.reason, rules.LONGEST_REASON)
    if not name.strip():
        found["name"] = "Enter a name people will know it by"
    if not change.reason.strip():
        found["reason"] = "Enter what the draft is for"
    for number, put in enumerate(change.put):
        found |= rules.book_faults(put, f"put.{number}.")
    found |= rules.key_faults(change, ground) | rules.shutter_faults(change, ground)
    if len(rules.applied(ground, change)) > rules.MOST_ELEMENTS:
        found["put"] = f"A configuration holds at most {rules.MOST_ELEMENTS} elements"
    return found


@dataclass(frozen=True)
class Clash:
    """One element that changed in the cryostat since the draft's base; None where there is none."""

    key: str
    base: Put | None
    now: Put | None
    draft: Put | None

    @property
    def title(self) -> str:
        """What a page calls it."""
        return next((put.title for put in (self.draft, self.now, self.base) if put), self.key)


def clashes(change: Change, base: Mapping[str, Put], present: Mapping[str, Put]) -> tuple[Clash, ...]:
    """The elements the draft touches that others have touched too, unless both came to the same."""
    wanted: dict[str, Put | None] = {put.key: put for put in change.put} | dict.fromkeys(change.remove)
    return tuple(
        Clash(key, base.get(key), present.get(key), put)
        for key, put in wanted.items()
        if base.get(key) != present.get(key) and present.get(key) != put
    )


def merged(
    change: Change,
    present: Mapping[str, Put],
    choices: Mapping[str, str],
    *,
    reason: str,
    at_revision: int,
    done_at: datetime | None,
) -> Change:
    """The draft as a change on what is inside now; elements chosen to stay as they are now are left out."""
    stay = {key for key, choice in choices.items() if choice == "now"}
    put = tuple(row for row in change.put if row.key not in stay and present.get(row.key) != row)
    remove = tuple(key for key in change.remove if key not in stay and key in present)
    return Change(reason, at_revision, put, remove, done_at)
