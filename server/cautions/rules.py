"""When a card is due. Pure."""

from datetime import date


def overdue(review_on: date | None, today: date) -> bool:
    """True when the day by which a card was to be looked at again has passed."""
    return review_on is not None and review_on < today
