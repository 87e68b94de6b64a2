"""What a steward may write on a card, and reading it."""

from dataclasses import dataclass
from datetime import date, datetime

from server.errors import Refused
from server.web.forms import Form

LONGEST = 2000
WRITTEN = ("%Y-%m-%d", "%d %b %Y", "%d %B %Y")


@dataclass(frozen=True)
class Local:
    """The laboratory's own part of a card."""

    local_text: str
    owner: str
    review_on: date | None


def read(form: Form) -> Local:
    """The laboratory's part of a card as typed; Refused with every field to mend."""
    typed = form.text("review_on")
    local = Local(form.text("local_text"), form.text("owner"), _day(typed))
    wrong = faults(local)
    if typed and local.review_on is None:
        wrong["review_on"] = "Enter a day such as 2027-03-01 or 1 Mar 2027"
    if wrong:
        raise Refused("The card was not stored.", wrong)
    return local


def faults(local: Local) -> dict[str, str]:
    """Field → what to do about it; empty when all is well."""
    found = {}
    if len(local.local_text) > LONGEST:
        found["local_text"] = f"Write at most {LONGEST} letters; a card is read at a glance"
    if len(local.owner) > 80 or not local.owner.isprintable():
        found["owner"] = "Enter a name or a role of at most 80 letters on one line"
    elif local.review_on is not None and not local.owner:
        found["owner"] = "Enter who looks at the card again"
    if local.owner and local.review_on is None:
        found["review_on"] = "Enter the day by which the card is looked at again"
    return found


def _day(typed: str) -> date | None:
    for written in WRITTEN:
        try:
            return datetime.strptime(typed, written).date()  # noqa: DTZ007 a day has no zone
        except ValueError:
            continue
    return None
