"""What may be written on a slip, kind by kind, and in which phase. Pure."""

from dataclasses import dataclass

from server.cryostats.rules import OPEN, OPERATE

BEGUN, VENTED, IS_OPEN, PARKED, CLOSED, OVER, OFF = (
    "begun",
    "vented",
    "open",
    "parked",
    "closed",
    "over",
    "called-off",
)
PHASES = {
    BEGUN: "begun, not vented yet",
    VENTED: "vented, lid still on",
    IS_OPEN: "open",
    PARKED: "parked under the blank lid",
    CLOSED: "closed, pumping",
    OVER: "closed and pumped",
    OFF: "called off",
}
VENT, LID_OFF, BUILT, CLOSE, PUMPED = "vent", "lid-off", "built", "close", "pumped"
PARK, AGAIN, CALLED_OFF = "parked", "opened-again", "called-off"
RING, SCREWS, WINDOW, TRAY, OXYGEN, USED, NOTE, LIST = (
    "ring",
    "screws",
    "window",
    "tray",
    "oxygen",
    "used",
    "note",
    "list",
)
TAKEN_BACK = "taken-back"
EARLY = (BEGUN, VENTED, IS_OPEN, PARKED)
HANDS_IN = (VENTED, IS_OPEN, PARKED)


@dataclass(frozen=True)
class Kind:
    """A kind of entry: its words, the phases in which it may be made, the grade it needs."""

    label: str
    phases: tuple[str, ...]
    grade: int = OPEN
    step: bool = False
    """A step moves the slip on and stays; anything else may be taken back."""


KINDS = {
    VENT: Kind("Gas let in", (BEGUN,), step=True),
    LID_OFF: Kind("Lid off", (VENTED,), step=True),
    OXYGEN: Kind("Room oxygen read", EARLY, OPERATE),
    RING: Kind("Ring", HANDS_IN),
    WINDOW: Kind("Window", HANDS_IN),
    SCREWS: Kind("Screws tightened again", HANDS_IN),
    TRAY: Kind("Parts counted", EARLY),
    USED: Kind("Used from the stock room", (*HANDS_IN, CLOSED)),
    BUILT: Kind("Configuration as built", (IS_OPEN,), step=True),
    CLOSE: Kind("Closed, pump on", (IS_OPEN,), step=True),
    PUMPED: Kind("Pumped down", (CLOSED,), OPERATE, step=True),
    PARK: Kind("Parked under the blank lid", (VENTED, IS_OPEN), step=True),
    AGAIN: Kind("Opened again", (PARKED,), step=True),
    CALLED_OFF: Kind("Called off", (BEGUN,), step=True),
    NOTE: Kind("Note", tuple(PHASES), OPERATE),
    LIST: Kind("Checklist begun", EARLY, step=True),
}
"""Kind → what it is. `taken-back` and `list` are written by this room alone."""
GASES = ("nitrogen", "air", "helium", "argon", "other")
RING_DONE = {"seen": "looked at", "greased": "greased", "replaced": "replaced"}
WINDOW_DONE = {"seen": "looked at", "moved": "moved", "replaced": "replaced"}
PARKING = {
    "capped": "The chamber is capped with the blank lid",
    "pumped": "It is rough pumped",
    "valves_shut": "The valves are shut",
    "source_closed": "The gas is closed at its source, and nobody has left before that",
}
"""What the parking asks, each to be said (common practice, no source; local rules decide)."""
SHOWS = {"before": "Before touching", "after": "After, before closing", "sketch": "Sketch or drawing"}
