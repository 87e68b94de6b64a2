"""The demo's drafts and standing orders: the lid that was left off shall come back bored, and coax go in."""

from datetime import datetime, timedelta
from typing import Any

from sqlmodel import Session

from server.cryostats import draft_steps, drafts, guards
from server.cryostats.documents import put_of
from server.cryostats.draft_steps import Said
from server.cryostats.drafts import Drawn
from server.cryostats.rules import Change
from server.laboratory import orders
from server.people.models import Person

BENCH_B = "bench-b"
ORDERS = {
    orders.LABORATORY: (
        "No closing on an ungreased ring. Fluorinated vacuum grease only; never silicone near optics.\n"
        "Two pairs of eyes before the can goes on."
    ),
    f"cryostat/{BENCH_B}": "The lid is said on every slip: on, off or bored, with a photograph from above.",
}
BORED = {
    "key": "lid",
    "kind": "lid",
    "label": "Shield lid",
    "state": "bored",
    "opening_diameter_m": 0.09,
    "bore_diameter_m": 0.025,
    "bore_glass": "fused-silica",
    "house": True,
}
COAX = {
    "key": "coax-pair",
    "kind": "coax",
    "label": "Two coax to the gate",
    "material": "stainless-304",
    "centre_material": "stainless-304",
    "count": 2,
    "diameter_m": 2.2e-3,
    "lengths_m": {"vessel-shield": 0.30, "shield-platform": 0.15},
    "lags": [{"stage": "shield", "length_m": 0.03, "state": "good"}],
    "ends_on": "platform",
}


def tell(session: Session, people: dict[str, Person], at: datetime) -> None:
    """Both orders, a draft that waits for its yes, and one that is approved and frozen in a few days."""
    steward, maren, jory = (people[login] for login in ("quill", "maren", "jory"))
    for scope, text in ORDERS.items():
        orders.write(session, steward, scope, text, 0, at - timedelta(days=300))
    goes_in = (at + timedelta(days=15)).date()
    lid = _draw(session, jory, "Lid bored, with glass", BORED, (maren.id or 0,), at)
    draft_steps.take(session, jory, lid, "asked", 1, Said("Instead of no lid at all", goes_in), at)
    coax = _draw(session, maren, "Two coax to the gate", COAX, (), at)
    draft_steps.take(session, maren, coax, "asked", 1, Said("", goes_in), at)
    condition = Said("Second lag at the platform; photograph it")
    draft_steps.take(session, steward, coax, "approved", 1, condition, at)


def _draw(
    session: Session, person: Person, name: str, row: dict[str, Any], parties: tuple[int, ...], at: datetime
) -> int:
    cryostat = guards.find(session, BENCH_B)
    put, _ = put_of(row, "put.0")
    drawn = Drawn(name, Change(name, cryostat.revision, (put,)), parties)
    return drafts.make(session, person, BENCH_B, drawn, at).draft.id or 0
