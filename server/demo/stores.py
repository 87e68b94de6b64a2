"""The demo's stock room: the first set with invented amounts, and a year of use. One drawer leaks."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from decimal import Decimal

from sqlmodel import Session, col, select

from server.people.models import Person
from server.stock import items, lending, moving, service, spec
from server.stock.lending import Lending
from server.stock.models import Item, Lot
from server.stock.moving import Receipt
from server.stock.service import Taking
from server.stock.starter import starter

AMOUNTS = {
    "thermal-grease": "22",
    "thermal-grease-filled": "9",
    "cryogenic-varnish": "80",
    "varnish-thinner": "120",
    "silver-paint": "4",
    "indium": "65",
    "centring-ring": "9",
    "disc-spring": "140",
    "screw": "210",
    "mount-nut": "9",
    "wire-phosphor-bronze": "85",
    "wire-manganin": "42",
    "loom": "3",
    "coax": "5",
    "pin": "160",
    "solder": "14",
    "sleeving": "17",
    "aluminised-film": "8",
    "gloves": "460",
    "wipes": "800",
    "lens-tissue": "310",
    "isopropanol": "2000",
    "acetone": "900",
    "nitrogen": "14000",
    "helium": "120",
    "adsorber": "1",
    "coupling-gasket": "3",
    "pump-parts": "1",
    "gauge-head": "1",
    "window": "2",
    "carrier": "26",
    "thermometer": "2",
    "heater": "3",
    "lacing-cord": "150",
    "labels": "170",
    "hand-tools": "1",
}
"""What lay there a year ago. Invented."""
PLACES = {"S11": "Flammables cabinet", "S01": "Gas rack", "S10": "Drawer 4", "S06": "Compressor shelf"}
PRICES = {
    "vacuum-grease": "4.60",
    "gloves": "0.12",
    "isopropanol": "0.02",
    "adsorber": "1450",
    "window": "85",
}
EVERY_DAYS = 8
DRAWN = ("gloves", "wipes", "isopropanol", "nitrogen", "disc-spring", "screw", "thermal-grease", "labels")


def tell(session: Session, people: Mapping[str, Person], begun: datetime, until: datetime) -> None:
    """A year in the stock room, by `quill` who keeps it and those who open cryostats."""
    steward, user = people["quill"], people["maren"]
    for wanted in starter():
        _lay_out(session, steward, wanted, begun)
    keys = {item.key: item for item in session.exec(select(Item)).all()}
    _stock_up(session, steward, keys, begun)
    _use(session, user, keys, begun, until)
    _lately(session, steward, user, keys, until)


def _lay_out(session: Session, steward: Person, wanted: spec.Spec, begun: datetime) -> None:
    place = next((PLACES[code] for code in wanted.cautions if code in PLACES), "Cupboard 2")
    price = Decimal(PRICES[wanted.key]) if wanted.key in PRICES else None
    told = vars(wanted) | {"place": place, "price": price, "currency": "EUR" if price else ""}
    told["lead_days"] = wanted.lead_days if wanted.lead_days is not None else 10
    told["elsewhere"] = "Bench 2, about 20 g" if wanted.key == "vacuum-grease" else ""
    items.add(session, steward, spec.Spec(**told), begun)


def _stock_up(session: Session, steward: Person, keys: Mapping[str, Item], begun: datetime) -> None:
    for key, amount in AMOUNTS.items():
        _receive(session, steward, keys[key], begun, Decimal(amount))
    grease, ring = keys["vacuum-grease"], keys["o-ring"]
    _receive(session, steward, grease, begun, Decimal(50), containers=2, sealed=True, code="G")
    cured = (begun - timedelta(days=400)).date()
    _receive(session, steward, ring, begun, Decimal(6), code="NW40-FKM", cured_on=cured)


def _receive(
    session: Session, steward: Person, item: Item, at: datetime, amount: Decimal, **more: object
) -> None:
    assert item.id is not None
    told: dict[str, object] = {"item_id": item.id, "amount": amount, "because": "First stock", **more}
    moving.receive(session, steward, Receipt(**told), at)  # type: ignore[arg-type]


def _use(session: Session, user: Person, keys: Mapping[str, Item], begun: datetime, until: datetime) -> None:
    """An opening every eight days, its usual takings; the amounts go up and down a little."""
    number = 0
    at = begun + timedelta(days=3)
    while at < until - timedelta(days=6):
        share = Decimal(("0.8", "1.1", "0.9", "1.3", "1")[number % 5])
        for key in ("vacuum-grease", *DRAWN):
            item = keys[key]
            assert item.id is not None
            usual = item.per_opening or Decimal(1)
            amount = usual * share if item.unit in ("g", "mL", "L", "m") else usual
            service.take(session, user, Taking(item.id, amount, f"Opening {number + 1}"), at)
        number, at = number + 1, at + timedelta(days=EVERY_DAYS)


def _lately(
    session: Session, steward: Person, user: Person, keys: Mapping[str, Item], until: datetime
) -> None:
    """What keeps the stock room talking: a count that shows a leak, a loan, a promise, an order."""
    day, ids = until - timedelta(days=4), {key: item.id or 0 for key, item in keys.items()}
    open_tube = session.exec(
        select(Lot).where(Lot.item_id == ids["vacuum-grease"]).order_by(col(Lot.id))
    ).first()
    assert open_tube is not None
    assert open_tube.id is not None
    moving.count(session, user, open_tube.id, Decimal(11), day)
    loan = Lending(ids["indium"], Decimal(15), "Optics laboratory, room 12", day.date() + timedelta(days=2))
    lending.lend(session, user, loan, day)
    later = until + timedelta(days=9)
    service.reserve(session, user, ids["wire-phosphor-bronze"], Decimal(30), later, "24-line loom", day)
    items.order(session, steward, ids["wipes"], Decimal(300), later.date(), "", day)
