"""What the plan has to say: drafts that wait for somebody's yes, bookings without a place."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sqlmodel import Session, col, select

from server.bookings.models import Booking
from server.bookings.writing import DISPLACED, PLACELESS
from server.cautions import service as cautions
from server.cautions.rules import overdue
from server.cryostats import draft_rules
from server.cryostats.draft_models import Draft, DraftStep, DraftVersion
from server.notices.rules import DUE, KNOW, OVERLAPPING, SOON, STOPS, Notice, Reach, day_words
from server.notices.running import Floor

ENDED = (draft_rules.WITHDRAWN, draft_rules.BUILT)


@dataclass(frozen=True)
class Waiting:
    """A draft that is not over, with its newest version and where that stands."""

    draft: Draft
    version: DraftVersion
    standing: draft_rules.Standing


def told(session: Session, reach: Reach, floor: Floor, today: date) -> Iterator[Notice]:
    """Drafts, bookings and cards to be looked at again."""
    yield from agreements(waiting(session, today), reach, floor, today)
    yield from placeless(session, reach, floor)
    if reach.steward:
        yield from reviews(session, today)


def waiting(session: Session, today: date) -> list[Waiting]:
    """Every draft that is asked for or approved and not over, in two queries however many were built."""
    newest = (col(DraftVersion.draft_id) == col(Draft.id)) & (col(DraftVersion.number) == col(Draft.version))
    over = select(DraftStep.id).where(
        col(DraftStep.draft_id) == col(Draft.id),
        col(DraftStep.version) == col(Draft.version),
        col(DraftStep.what).in_(ENDED),
    )
    query = select(Draft, DraftVersion).join(DraftVersion, newest).where(col(Draft.house).is_(False))
    rows = session.exec(query.where(~over.exists()).order_by(col(Draft.id))).all()
    steps: dict[int, list[DraftStep]] = {}
    keys = [draft.id for draft, _ in rows]
    found = select(DraftStep).where(col(DraftStep.draft_id).in_(keys)).order_by(col(DraftStep.id))
    for step in session.exec(found).all():
        steps.setdefault(step.draft_id, []).append(step)
    return [_standing(draft, version, steps, today) for draft, version in rows]


def _standing(
    draft: Draft, version: DraftVersion, steps: Mapping[int, Sequence[DraftStep]], today: date
) -> Waiting:
    made = steps.get(draft.id or 0, ())
    stands = draft_rules.standing(made, draft.version, version.parties, today, house=draft.house)
    return Waiting(draft, version, stands)


def agreements(rows: Sequence[Waiting], reach: Reach, floor: Floor, today: date) -> Iterator[Notice]:
    """What waits for this person: a steward's approval, a party's yes, an answer to what was sent back."""
    for row in rows:
        step, weight = _mine(row, reach)
        if not step:
            continue
        day = row.standing.build_on
        when = f", to go in {day_words(day, today)}" if day else ""
        what = (
            f"Draft “{row.draft.name}” for {floor.name(row.draft.cryostat_id)} by {row.version.by_name}{when}"
        )
        yield Notice(DUE, f"draft-{row.draft.id}", what, step, f"/drafts/{row.draft.id}", weight, day)


def _mine(row: Waiting, reach: Reach) -> tuple[str, int]:
    state, ours = row.standing.state, {party["id"]: party["name"] for party in row.version.parties}
    if state == draft_rules.ASKED and reach.steward:
        return "Approve it, or send it back", SOON
    asked = state in (draft_rules.ASKED, draft_rules.APPROVED)
    if asked and ours.get(reach.person_id) in row.standing.missing:
        return "Say yes or no", SOON
    if state == draft_rules.SENT_BACK and row.draft.by_id == reach.person_id:
        return "Mend what was asked, and ask again", KNOW
    return "", KNOW


def placeless(session: Session, reach: Reach, floor: Floor) -> Iterator[Notice]:
    """Bookings that lost their place or wait for one: one's own; every one for the steward."""
    query = select(Booking).where(col(Booking.state).in_(PLACELESS))
    if not reach.steward:
        query = query.where(Booking.owner_id == reach.person_id)
    rows = session.exec(query.order_by(col(Booking.id))).all()
    several = {row.cryostat_id for row in rows if sum(one.cryostat_id == row.cryostat_id for one in rows) > 1}
    for row in rows:
        name = floor.name(row.cryostat_id)
        lost = row.state == DISPLACED
        words = "lost its place" if lost else "waits for a place"
        what = f"{name}: {row.owner_name}, “{row.purpose}”, {words}"
        slug = next((one.slug for one in floor.cryostats if one.id == row.cryostat_id), "")
        weigh = reach.steward and row.cryostat_id in several
        step = "Weigh the requests" if weigh else "Find another time"
        address = f"/cryostats/{slug}/clash" if weigh else f"/bookings/{row.id}"
        yield Notice(OVERLAPPING, f"booking-{row.id}", what, step, address, STOPS if lost else SOON)


def reviews(session: Session, today: date) -> Iterator[Notice]:
    """Caution cards whose review day has passed."""
    for card in cautions.every(session):
        if card.review_on is not None and overdue(card.review_on, today):
            what = (
                f"Caution {card.code}, {card.title}: to be looked at again {day_words(card.review_on, today)}"
            )
            address = f"/cautions/{card.code}"
            yield Notice(
                DUE, f"card-{card.code}", what, "Read it, set a new day", address, KNOW, card.review_on
            )
