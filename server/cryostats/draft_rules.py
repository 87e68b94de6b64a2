"""What a draft is and where it stands, from its steps; what stands in the way of building it. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from server.cryostats import rules
from server.cryostats.rules import Change, Put

LONGEST_NAME = 80
DRAWING, ASKED, APPROVED, FROZEN = "drawing", "asked", "approved", "frozen"
SENT_BACK, WITHDRAWN, BUILT, HOUSE = "sent back", "withdrawn", "built", "house"
WORDS = {
    DRAWING: "being drawn",
    ASKED: "asked for approval",
    APPROVED: "approved, a party has not said yes",
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


@dataclass(frozen=True)
class Standing:
    """Where the newest version stands. `frozen_at` is set once everybody who must has agreed."""

    state: str
    missing: tuple[str, ...] = ()
    """Names of the parties who have not said yes yet."""
    frozen_at: datetime | None = None
    conditions: str = ""

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
    steps: Sequence[Stepped], version: int, parties: Sequence[Mapping[str, object]], *, house: bool
) -> Standing:
    """Where version `version` stands; a step counts for the version it was made for, and for no later one."""
    if house:
        return Standing(HOUSE)
    last = {step.what: step for step in steps if step.version == version}
    for end in (WITHDRAWN, BUILT):
        if end in last:
            return Standing(end)
    yes = {step.by_id: step.at for step in steps if step.version == version and step.what == "yes"}
    missing = tuple(str(party["name"]) for party in parties if party["id"] not in yes)
    if SENT_BACK in last:
        return Standing(SENT_BACK, missing, conditions=last[SENT_BACK].note)
    if APPROVED not in last:
        return Standing(ASKED if ASKED in last else DRAWING, missing)
    approval = last[APPROVED]
    if missing:
        return Standing(APPROVED, missing, conditions=approval.note)
    return Standing(FROZEN, (), max([approval.at, *yes.values()]), approval.note)


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
    found |= rules.key_faults(change, ground)
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
