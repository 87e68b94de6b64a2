"""Curves of a plot from the readings of channels, each in its channel's own unit."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from server.cooldowns import readings
from server.cooldowns.channels_models import Channel
from server.cooldowns.channels_rules import QUANTITIES, converted
from server.cooldowns.plots import Curve
from server.cooldowns.readings import Thin
from server.cooldowns.readings_asked import si_of

POINTS = 700
"""Of a curve: about as many as a drawing is wide."""


def curves(
    session: Session, cryostat_id: int, chosen: Sequence[Channel], begin: datetime, end: datetime
) -> list[Curve]:
    """A curve for each of these channels, as `plots.draw` takes them."""
    return [curve(row, readings.thin(session, cryostat_id, row, begin, end, POINTS)) for row in chosen]


def curve(channel: Channel, found: Thin) -> Curve:
    """The curve of a channel in its own unit; a temperature is coloured by its stage."""
    quantity, si, unit = QUANTITIES[channel.quantity], si_of(channel), channel.unit
    return Curve(
        label=channel.name,
        unit=unit or "number",
        times_s=found.times_s,
        low=converted(found.low, si, unit),
        high=converted(found.high, si, unit),
        gap_s=found.gap_s,
        decades=quantity.decades and unit != "°C",
        key=channel.stage if channel.quantity == "temperature" else "",
    )
