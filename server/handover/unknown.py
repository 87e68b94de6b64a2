"""What the next steward should know and nobody wrote down. Pure: looks at what was found, asks nothing."""

from collections.abc import Iterator, Sequence
from datetime import date

from server.cautions.models import Card
from server.cooldowns.night_models import NightRoster, NightRule
from server.cryostats.forgotten import missing
from server.cryostats.models import CoolerVersion
from server.cryostats.part_models import Part
from server.cryostats.rules import GRADES
from server.handover.inside import Inside
from server.handover.rules import Gap
from server.laboratory.models import Laboratory
from server.laboratory.order_models import StandingOrder
from server.maintenance.due import Due
from server.maintenance.rules import KINDS, NO_DATE
from server.people.models import Person
from server.stock.board import Line

SERVICE = 4
WANTED_KINDS = ("service", "certificate", "drill")
"""Kinds of tasks of which a book without any asks whether there are none (common practice, no source)."""


def of_inside(found: Inside) -> Iterator[Gap]:
    """What of a configuration is not recorded, cannot be computed, or was never entered."""
    name, home = found.cryostat.name, f"/cryostats/{found.cryostat.slug}"
    if found.state is None:
        yield Gap(name, "Its state: nobody entered whether it is cold, open or parked", home)
    for row in missing(found.puts, found.cryostat.stages):
        yield Gap(name, row.words, f"{home}/change?{row.query}")
    yield from _of_budget(found, name, home)
    if not found.ports:
        yield Gap(name, "Its ports and what is on their pins", f"{home}/ports")
    elif found.tested is None:
        yield Gap(name, "Continuity and isolation of its lines: no test is written down", f"{home}/ports")
    if not found.pictures:
        yield Gap(name, "What it looks like inside: no photograph or drawing is kept", f"{home}/photographs")


def _of_budget(found: Inside, name: str, home: str) -> Iterator[Gap]:
    """What of the heat cannot be computed, and fields whose answer nobody recorded."""
    for gap in found.found.budget.gaps:
        put = found.puts.get(gap.key or "")
        of = put.title if put else gap.stage
        at = f"{home}/change?alter={put.key}" if put else home
        yield Gap(f"{name}, {of}" if of else name, gap.reason, at)
    for line in found.budget.lines:
        for fact in line.facts:
            if fact.unrecorded:
                at = f"{home}/change?alter={line.put.key}"
                yield Gap(f"{name}, {line.put.title}", f"{fact.name}: {fact.value}", at)


def of_cold(found: Inside, cooler: CoolerVersion | None, cooldowns: int) -> Iterator[Gap]:
    """What of its cooling nobody measured."""
    name, home = found.cryostat.name, f"/cryostats/{found.cryostat.slug}"
    if cooler is None:
        yield Gap(name, "Its cooler: without one no temperature is predicted", f"{home}/cooler")
    if not cooldowns:
        yield Gap(name, "How it gets cold: no cooldown is written down", f"{home}/cooldowns")


def of_night(
    found: Inside, kept: tuple[NightRule | None, NightRoster | None], orders: Sequence[StandingOrder]
) -> Iterator[Gap]:
    """What somebody woken at night would miss."""
    name, home = found.cryostat.name, f"/cryostats/{found.cryostat.slug}"
    rule, roster = kept
    if roster is None or not roster.contacts:
        yield Gap(name, "Whom to call at night", f"{home}/night")
    if rule is None:
        yield Gap(name, "The numbers that decide about starting again at night", f"{home}/night")
    else:
        for value, words in (
            (rule.go_Pa, "Below which pressure cooling begins"),
            (rule.restart_Pa, "Above which pressure nobody starts it again"),
            (rule.longest_stop_s, "After how long a stop nobody starts it again"),
        ):
            if value is None:
                yield Gap(name, words, f"{home}/night")
        if not rule.decides:
            yield Gap(name, "Who decides at night", f"{home}/night")
    if not orders:
        yield Gap(name, "A standing order: none is in force", f"{home}/orders")


def of_work(found: Inside, grades: Sequence[tuple[Person, int]], tasks: Sequence[Due]) -> Iterator[Gap]:
    """Who services it, and which work has no date."""
    name, home = found.cryostat.name, f"/cryostats/{found.cryostat.slug}"
    if not any(person.active and grade >= SERVICE for person, grade in grades if not person.steward):
        yield Gap(name, f"Nobody but a steward has the grade “{GRADES[SERVICE]}”", f"{home}/grades")
    for row in tasks:
        if row.state == NO_DATE:
            yield Gap(f"{name}, {row.task.name}", f"When it falls due: {row.why}", row.address)
        if not row.task.who:
            yield Gap(f"{name}, {row.task.name}", "Whose work it is", row.address)
    for kind in WANTED_KINDS:
        if not any(row.task.kind == kind for row in tasks):
            yield Gap(name, f"No task of the kind “{KINDS[kind]}” is laid out", f"{home}/maintenance")


def of_laboratory(
    row: Laboratory, orders: Sequence[StandingOrder], cards: Sequence[Card], today: date
) -> Iterator[Gap]:
    """What the laboratory has not said of itself, and cautions nobody owns."""
    if not row.country:
        yield Gap("Laboratory", "Whose public holidays are kept", "/laboratory")
    if not orders:
        yield Gap("Laboratory", "A standing order for all: none is in force", "/laboratory/orders")
    ownerless = [card.code for card in cards if not card.owner]
    if ownerless:
        yield Gap("Cautions", f"Who owns {', '.join(ownerless)}", "/cautions")
    for card in cards:
        if card.review_on is not None and card.review_on < today:
            words = f"“{card.title}” was to be looked at again on {card.review_on.isoformat()}"
            yield Gap(f"Caution {card.code}", words, f"/cautions/{card.code}")


def of_stores(lines: Sequence[Line], listed: Sequence[Part]) -> Iterator[Gap]:
    """Items of which ordering cannot be planned, thermometers without a curve."""
    for line in lines:
        here = f"/stock/{line.item.key}"
        if line.item.stops_work and line.item.lead_days is None:
            yield Gap(line.item.name, "How long an order takes, though work stops without it", here)
        if line.standing.recount_why:
            yield Gap(line.item.name, f"How much there is: {line.standing.recount_why}", here)
    for part in listed:
        if part.kind == "thermometer" and part.state not in ("broken", "retired"):
            for field, words in (
                ("curve_file", "The file of its curve"),
                ("calibrated_on", "When it was calibrated"),
            ):
                if not part.about.get(field):
                    yield Gap(f"{part.tag} {part.name}", words, f"/parts/{part.tag}")
