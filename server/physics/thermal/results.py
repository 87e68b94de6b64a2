"""What a balance answers."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.physics.statistics import Band

MODEL = "2026.2"
"""Version of the model: a stored budget says by which it was made."""

STATUSES = ("within", "may exceed", "over", "more than", "incomplete", "no limit")


@dataclass(frozen=True)
class Gap:
    """Something that could not be computed. Its stage, and all that is colder, then reads incomplete.

    `key` is the element, or None where something is missing altogether; `stage` the first one concerned.
    """

    key: str | None
    stage: str | None
    reason: str


@dataclass(frozen=True)
class Warning_:  # noqa: N801 - the plain word is Python's own
    """Something a person should look at. `code` is a fixed word, `text` a sentence."""

    key: str | None
    code: str
    text: str


@dataclass(frozen=True)
class Margin:
    """How a stage stands to its limit.

    Attributes
    ----------
    limit_K : float or None
        The limit, None if the stage has none.
    margin_K : Band or None
        Limit minus temperature [K]; None without a limit or without a temperature.
    status : str
        One of `STATUSES`.
    spare_W : Band or None
        Heat that the stage could still take before it reaches its limit [W]; negative if it is over. None
        where that cannot be said.
    """

    limit_K: float | None
    margin_K: Band | None
    status: str
    spare_W: Band | None = None


@dataclass(frozen=True)
class Cause:
    """What makes a band wide: half of the range that this alone gives to the temperature of a stage.

    `key` is the element, or None for what belongs to no single one (the cooler, data shared by several);
    `half_width_K` is None where nobody can say how much.
    """

    key: str | None
    what: str
    stage: str
    half_width_K: float | None


@dataclass(frozen=True)
class Budget:
    """The heat budget of a configuration.

    Attributes
    ----------
    temperatures : mapping
        Stage → temperature [K]. A stage whose temperature cannot be known is not in it.
    heats : mapping
        Element → stage → heat into the stage at these temperatures [W], what leaves it subtracted. Empty for
        an element with a gap.
    costs : mapping
        Element → stage → temperature with all minus temperature with all but this one, solved again [K].
        Costs need not add up. Empty for an element with a gap and for a joint.
    margins : mapping
        Stage → `Margin`, for every stage but the vessel.
    gaps, warnings, band_causes : tuples
        What could not be computed; what to look at; what widens the bands, widest first.
    model : str
        Version of the model.
    """

    temperatures: Mapping[str, Band]
    heats: Mapping[str, Mapping[str, Band]]
    costs: Mapping[str, Mapping[str, Band]]
    margins: Mapping[str, Margin]
    gaps: tuple[Gap, ...] = ()
    warnings: tuple[Warning_, ...] = ()
    band_causes: tuple[Cause, ...] = ()
    model: str = MODEL
