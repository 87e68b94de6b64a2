"""Tests that tell causes apart, each with its cost and its caution. Pure. Common practice, no source."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.physics.thermal.diagnosis import Explanation

COSTS = ("minutes", "cold", "next opening")


@dataclass(frozen=True)
class Test:
    """One test: its cost, the causes it tells of, the caution where it warms, vents, sprays or touches."""

    cost: str
    causes: tuple[str, ...]
    words: str
    caution: str = ""


TESTS = (
    Test(
        "minutes",
        ("lid-missing", "window-missing", "touch", "lag-lost"),
        "Lay the photographs of the last closing beside the configuration: lid, windows, lags, anything new.",
    ),
    Test(
        "minutes",
        ("helium-low", "cooler-weaker"),
        "Look up the static helium pressure of the last cooldowns, the hours of the adsorber and the cooling"
        " water's temperature and flow.",
    ),
    Test(
        "minutes",
        ("heat-left-on",),
        "Switch off heaters, currents, laser and lamps one at a time, cover the windows, and wait for the"
        " platform after each.",
        "A laser is switched off by whoever answers for it; local laser rules decide.",
    ),
    Test(
        "minutes",
        ("thermometer-wrong",),
        "Halve the excitation and read again; compare the curve that is loaded with the one of that serial"
        " number.",
    ),
    Test(
        "cold",
        ("thermometer-wrong", "joint-worse"),
        "Put 1 mW on the mount and read the step there and at the platform: a worse joint shows a larger"
        " difference, a wrong thermometer the same one.",
        "The step warms the sample; ask whose it is first.",
    ),
    Test(
        "cold",
        ("touch",),
        "Measure the resistance from the mount to the shield, where the two are insulated from each other.",
        "Everything that is driven through the wires is off and disconnected first.",
    ),
    Test(
        "cold",
        ("gas",),
        "Close the pump valve and watch the pressure: gas that leaks in makes it rise in a straight line."
        " Spray helium from the top down, port after port.",
        "Spraying needs an aired room: helium displaces air. Cold, what is let in freezes out and comes off"
        " when it warms; see that the relief is free.",
    ),
    Test(
        "cold",
        ("helium-low", "cooler-weaker"),
        "Repeat the two points of the heater test: a weaker stage warms more for the same heat, an extra load"
        " only starts warmer.",
        "The step warms platform and shield; ask whose sample it is first.",
    ),
    Test(
        "cold",
        ("lid-missing", "window-missing", "heat-left-on"),
        "Darken the room and cover every window: what falls then came as light; heat of the room through an"
        " open lid stays.",
    ),
    Test(
        "next opening",
        ("helium-low",),
        "Stop the compressor, wait until it is warm, and read the static helium pressure.",
        "Cooling stops: everything warms, and gas trapped in the cold comes off. Compressor and helium are"
        " for trained people.",
    ),
    Test(
        "next opening",
        ("touch", "lag-lost", "lid-missing", "window-missing"),
        "Look down before anything is moved: gap round the shield with paper, each lag with a light tug,"
        " lid screws, windows seated. Photograph it as found.",
        "Warm, at atmosphere and never in a hurry: cold metal burns, and a lid that is pulled below"
        " atmosphere or pushed above it can hurt.",
    ),
    Test(
        "next opening",
        ("joint-worse",),
        "Check the torque of each screw of the joint and its disc springs, then open, clean and grease it"
        " again.",
        "Warm and at atmosphere first; gloves for grease and solvent.",
    ),
    Test(
        "next opening",
        ("gas",),
        "Look over rings, window seats and the getter; test each port for leaks warm.",
        "Solvent near a hot-filament gauge or a lamp can catch fire: both off, the room aired.",
    ),
)


def tests(explanations: Sequence[Explanation]) -> tuple[Test, ...]:
    """The tests that tell these explanations apart, the cheapest first."""
    named = {
        one.cause for row in explanations for fitted in row.causes for one in (fitted.suspect, *fitted.alike)
    }
    found = [test for test in TESTS if named & set(test.causes)]
    return tuple(sorted(found, key=lambda test: COSTS.index(test.cost)))
