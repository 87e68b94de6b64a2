"""Numbers with their uncertainty, control charts and forecasts."""

from server.physics.statistics.bands import Band, Quantity, together

__all__ = ["Band", "Quantity", "together"]
