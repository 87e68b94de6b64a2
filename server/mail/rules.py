"""What an address must look like, when a letter is tried again, and the words for where it stands. Pure."""

import re
from datetime import timedelta

WAITING, TRYING, HANDED_OVER, UNKNOWN, REFUSED, TOO_OLD = (
    "waiting",
    "trying",
    "handed-over",
    "unknown",
    "refused",
    "too-old",
)
WORDS = {
    WAITING: "waits to be sent",
    TRYING: "being handed over",
    HANDED_OVER: "handed over",
    UNKNOWN: "nobody can know whether it was handed over; it is not sent again",
    REFUSED: "refused",
    TOO_OLD: "too old to be sent",
}
STALE = timedelta(days=3)
"""A letter that could not be handed over for so long tells nobody anything new."""
LOST = timedelta(minutes=15)
"""An attempt that has said nothing for so long has been cut off; what became of it is unknown."""
FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=2), timedelta(hours=2)
LONGEST_ADDRESS = 254
"""RFC 5321, 4.5.3.1.3 leaves so much for an address between its angle brackets."""
LONGEST_SUBJECT = 150
_ADDRESS = re.compile(
    r"[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(?:\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*@"
    r"(?:[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)*[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
)
"""The dot-atom form of RFC 5322, 3.4.1, at a host name; quoted forms are refused."""


def address_fault(address: str) -> str:
    """What is wrong with an address; empty when nothing is."""
    if len(address) > LONGEST_ADDRESS or not _ADDRESS.fullmatch(address):
        return "Enter an address such as name@example.org"
    return ""


def pause(tries: int) -> timedelta:
    """How long to wait after so many attempts: doubled each time, to a longest.

    >>> pause(1), pause(2), pause(50)
    (datetime.timedelta(seconds=120), datetime.timedelta(seconds=240), datetime.timedelta(seconds=7200))
    """
    doubled: int = 2 ** min(tries - 1, 10)
    return min(FIRST_PAUSE * doubled, LONGEST_PAUSE)


def subject_line(text: str) -> str:
    """A subject in one line, without anything that could begin another header."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:LONGEST_SUBJECT]
