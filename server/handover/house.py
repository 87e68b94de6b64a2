"""What belongs to the laboratory rather than to one cryostat: people, stock, parts, materials, cautions."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

from sqlmodel import Session, col, select

from server.bookings import fairness, ruling
from server.bookings.models import Member
from server.cautions.models import Card
from server.cautions.oxygen_models import OxygenCard
from server.cryostats import parts
from server.cryostats.part_models import Part
from server.cryostats.part_rules import KINDS as PART_KINDS
from server.cryostats.part_rules import STATES, state_of
from server.handover import work
from server.handover.rules import NOTHING, Chapter, Clock
from server.laboratory import orders
from server.laboratory.models import Laboratory
from server.materials import service as materials
from server.people.models import Person
from server.record.rules import Section
from server.stock.board import Line
from server.stock.models import Item, Loan, Order, Reservation
from server.stock.rules import shown
from server.stock.views import lasts, status

DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def laboratory(session: Session, row: Laboratory, everyone: Sequence[Person], clock: Clock) -> Chapter:
    """Name, zone, working time, standing order, people, groups and the rules for all."""
    days = ", ".join(DAYS[int(digit)] for digit in row.working_days)
    told = (
        ("Name", row.name),
        ("Zone", row.zone),
        ("Working days", days),
        ("Working hours", f"{row.opens:%H:%M} to {row.closes:%H:%M}"),
        ("Holidays of", row.country or "no country is entered"),
    )
    ordered = tuple(
        (order.text, order.by_name, clock.day(order.at))
        for order in orders.applying(session, orders.LABORATORY)
    )
    people = tuple(
        (
            one.name,
            one.login,
            "steward" if one.steward else "",
            "" if one.active else "has left",
            clock.day(one.created_at),
        )
        for one in everyone
    )
    return Chapter(
        "laboratory",
        "The laboratory and its people",
        (
            Section("The laboratory", ("What", "As it stands"), told),
            Section("Standing order for all", ("Order", "By", "Written"), ordered, NOTHING),
            Section("People", ("Person", "Login", "Answers for it", "Remark", "Since"), people),
            _groups(session, {one.id: one.name for one in everyone}),
            work.rules(ruling.numbers_of(session)),
        ),
    )


def _groups(session: Session, names: Mapping[int | None, str]) -> Section:
    members = defaultdict(list)
    for member in session.exec(select(Member)).all():
        members[member.group_id].append(names[member.person_id])
    rows = tuple(
        (
            row.name,
            row.kind,
            f"{row.share:g}",
            ", ".join(sorted(members[row.id or 0])),
            "closed" if row.closed else "",
        )
        for row in fairness.groups(session)
    )
    return Section("Groups and shares", ("Group", "Kind", "Share", "People", "Remark"), rows, NOTHING)


def stock(session: Session, lines: Sequence[Line], clock: Clock) -> Chapter:
    """Every item with its order point, lots, promises, orders and loans."""
    names = {line.item.id: line.item for line in lines}
    return Chapter(
        "stock",
        "The stock room",
        (
            _items(lines, clock),
            _lots(lines),
            _promises(session, names, clock),
            _orders(session, names),
            _loans(session, names),
        ),
    )


def _items(lines: Sequence[Line], clock: Clock) -> Section:
    rows = tuple(
        (
            line.item.name,
            line.item.specification,
            ", ".join(text for text in (line.item.bin_code, line.item.place) if text),
            shown(line.standing.on_hand, line.item.unit),
            shown(line.standing.free, line.item.unit),
            status(line)[0],
            shown(line.item.floor, line.item.unit),
            shown(line.outlook.reorder_at, line.item.unit),
            f"{line.item.lead_days} d" if line.item.lead_days is not None else "not known",
            lasts(line, clock.today),
            "yes" if line.item.stops_work else "",
            line.item.elsewhere,
        )
        for line in lines
    )
    head = (
        "Item",
        "Specification",
        "Where",
        "Here",
        "Free",
        "How it stands",
        "Floor",
        "Order at",
        "Lead time",
        "Lasts until",
        "Stops work",
        "Who else has it",
    )
    return Section("Items", head, rows, NOTHING)


def _lots(lines: Sequence[Line]) -> Section:
    rows = tuple(
        (
            line.item.name,
            lot.code or f"lot {lot.id}",
            lot.place,
            shown(lot.on_hand, line.item.unit),
            lot.received_on.isoformat(),
            lot.opened_on.isoformat() if lot.opened_on else "",
            lot.expires_on.isoformat() if lot.expires_on else "",
            lot.recount_why,
        )
        for line in lines
        for lot in line.lots
    )
    head = ("Item", "Lot", "Where", "Here", "Received", "Opened", "Expires", "To count again")
    return Section("Lots", head, rows, NOTHING)


def _promises(session: Session, names: Mapping[int | None, Item], clock: Clock) -> Section:
    query = select(Reservation).where(col(Reservation.ended_at).is_(None)).order_by(col(Reservation.until))
    rows = tuple(
        (
            names[row.item_id].name,
            shown(row.left, names[row.item_id].unit),
            row.what_for,
            clock.day(row.until),
            row.by_name,
        )
        for row in session.exec(query).all()
        if row.item_id in names
    )
    return Section("Promised", ("Item", "How much", "For", "Until", "By"), rows, NOTHING)


def _orders(session: Session, names: Mapping[int | None, Item]) -> Section:
    rows = tuple(
        (
            names[row.item_id].name,
            shown(row.left, names[row.item_id].unit),
            row.expected_on.isoformat() if row.expected_on else "",
            row.note,
            row.by_name,
        )
        for row in session.exec(
            select(Order).where(col(Order.ended_at).is_(None)).order_by(col(Order.id))
        ).all()
        if row.item_id in names
    )
    return Section("Ordered, not come yet", ("Item", "How much", "Expected", "Note", "By"), rows, NOTHING)


def _loans(session: Session, names: Mapping[int | None, Item]) -> Section:
    rows = tuple(
        (
            names[row.item_id].name,
            shown(row.outstanding, names[row.item_id].unit),
            row.borrower,
            row.due_on.isoformat(),
            row.by_name,
        )
        for row in session.exec(
            select(Loan).where(col(Loan.ended_at).is_(None)).order_by(col(Loan.due_on))
        ).all()
        if row.item_id in names
    )
    return Section("Lent from the stock", ("Item", "How much", "To", "Due back", "By"), rows, NOTHING)


def parts_of(session: Session, listed: Sequence[Part]) -> Chapter:
    """Every part with its state, and what is lent; curves of thermometers by the name of their file."""
    inside = parts.inside(session)
    rows = tuple(
        (
            row.tag,
            PART_KINDS[row.kind].label,
            row.name,
            row.serial,
            STATES[state_of(row.state, row.tag in inside)],
            inside[row.tag].name if row.tag in inside else row.place,
            "; ".join(f"{name.replace('_', ' ')}: {text}" for name, text in row.about.items() if text),
        )
        for row in listed
    )
    curves = tuple(
        (
            row.tag,
            row.serial,
            row.about.get("curve_file", "") or "not known",
            row.about.get("calibrated_on", "") or "not known",
            row.about.get("covered", ""),
        )
        for row in listed
        if row.kind == "thermometer"
    )
    tags = {row.id: row.tag for row in listed}
    lent = tuple(
        (
            tags[out.loan.part_id],
            out.loan.to_whom,
            out.loan.lent_on.isoformat(),
            out.loan.due_on.isoformat(),
            out.loan.note,
        )
        for out in parts.loans(session)
    )
    head = ("Part", "Kind", "Name", "Serial", "State", "Where", "Description")
    return Chapter(
        "parts",
        "Parts and calibration curves",
        (
            Section("Parts", head, rows, NOTHING),
            Section(
                "Thermometers and the files of their curves",
                ("Part", "Serial", "Curve file", "Calibrated", "Covers"),
                curves,
                NOTHING,
            ),
            Section("Parts lent", ("Part", "To", "Lent", "Due back", "Note"), lent, NOTHING),
        ),
    )


def own_materials(session: Session) -> Chapter:
    """The laboratory's own materials in the versions in force."""
    rows = tuple(
        (
            row.name,
            str(row.number),
            row.source,
            f"± {100 * row.relative_uncertainty:g} %",
            _range(row.points.get("T_K", ())),
            row.note,
            row.by_name,
        )
        for row in materials.newest(session)
    )
    head = ("Material", "Version", "Source", "Uncertainty", "Points", "Note", "By")
    return Chapter(
        "materials",
        "Own materials",
        (Section("In force", head, rows, "The laboratory has entered none of its own."),),
    )


def _range(temperatures_K: Sequence[float]) -> str:
    if not temperatures_K:
        return ""
    return f"{len(temperatures_K)}, {min(temperatures_K):g} K to {max(temperatures_K):g} K"


def cautions(session: Session, cards: Sequence[Card], clock: Clock) -> Chapter:
    """Every caution with the laboratory's own text, and the oxygen arithmetic of each room, the newest."""
    rows = tuple(
        (
            f"{row.code} {row.title}",
            row.words,
            row.local_text,
            row.owner,
            row.review_on.isoformat() if row.review_on else "",
        )
        for row in cards
    )
    query = select(OxygenCard).order_by(col(OxygenCard.id))
    newest = {row.room: row for row in session.exec(query).all()}
    rooms = tuple(
        (
            row.room,
            row.gas,
            f"{row.volume_m3:g} m³",
            f"{row.release_m3:g} m³",
            f"{100 * row.sudden_share:.1f} %",
            f"{100 * row.slow_share:.1f} %",
            f"{100 * row.sealed_share:.1f} %",
            f"{clock.day(row.at)}, {row.by_name}",
        )
        for row in newest.values()
    )
    head = (
        "Room",
        "Gas",
        "Volume",
        "Largest release",
        "Oxygen after it",
        "With a forgotten purge",
        "The same, ventilation off",
        "Reckoned",
    )
    return Chapter(
        "cautions",
        "Cautions; local rules and your safety officer decide",
        (
            Section("Cautions", ("Caution", "Words", "Here", "Owner", "To be looked at again"), rows),
            Section("Oxygen arithmetic; it permits nothing", head, rooms, NOTHING),
        ),
    )
