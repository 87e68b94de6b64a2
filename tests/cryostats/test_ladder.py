"""The ladder's geometry: words in the order of temperature and apart, and heat that is no run."""

from itertools import pairwise

from server.cryostats import ladder
from server.physics import thermal
from server.physics.statistics import Band

STAGES = ("vessel", "shield", "platform", "mount", "sample")
HOT_SAMPLE = {
    "shield": Band.exact(32.0),
    "platform": Band.exact(3.4),
    "mount": Band.exact(3.5),
    "sample": Band.exact(21.0),
}


def _drawn(heats: dict[str, dict[str, Band]], *elements: thermal.Element) -> ladder.Ladder:
    lines = [ladder.Line(number, one.key, False, one) for number, one in enumerate(elements, 1)]
    return ladder.draw(thermal.Budget(HOT_SAMPLE, heats, {}, {}), STAGES, 295.0, {}, lines)


def test_words_stand_in_the_order_of_temperature_and_apart() -> None:
    """A sample warmer than the platform has its words above those of the platform."""
    places = {rung.stage: rung.label_y for rung in _drawn({}).rungs}
    order = sorted(places, key=places.__getitem__)
    heights = sorted(places.values())
    assert order == ["vessel", "shield", "sample", "mount", "platform"]
    assert all(below - above >= ladder.LABEL_GAP for above, below in pairwise(heights))
    assert heights[-1] <= ladder.BOTTOM


def test_rungs_that_cannot_be_told_apart_share_one_short_label() -> None:
    """On a phone 3.4 K and 3.5 K are one line: it names both, and the other rung says nothing."""
    shorts = {rung.stage: rung.short for rung in _drawn({}).rungs}
    assert shorts["mount"] == "mount, platform"
    assert shorts["platform"] == ""
    assert shorts["sample"] == "sample"


def test_heat_that_is_no_run_is_dashed_from_its_warm_stage_to_where_it_lands() -> None:
    """A lid that is off lets light from the vessel onto the platform; a touch leads from the shield."""
    heats = {
        "lid": {"shield": Band.exact(-0.1), "platform": Band.exact(2.0)},
        "touch": {"shield": Band.exact(-0.2), "platform": Band.exact(0.2)},
    }
    lid, touch = _drawn(heats, thermal.Lid("lid", state="off"), thermal.Touch("touch")).drops
    at = {rung.stage: rung.y for rung in _drawn({}).rungs}
    assert (lid.dashed, lid.top_y, lid.bottom_y) == (True, at["vessel"], at["platform"])
    assert (touch.dashed, touch.top_y, touch.bottom_y) == (True, at["shield"], at["platform"])
    assert lid.width > touch.width


def test_only_the_largest_of_them_are_drawn_and_the_rest_counted() -> None:
    """Seven touches: the five that bring most are drawn, two are left out."""
    heats = {f"touch-{number}": {"platform": Band.exact(0.001 * number)} for number in range(1, 8)}
    drawing = _drawn(heats, *(thermal.Touch(key) for key in heats))
    assert [drop.key for drop in drawing.drops] == [f"touch-{number}" for number in range(3, 8)]
    assert drawing.left_out == 2


def test_no_lag_hangs_below_the_end_of_its_run() -> None:
    """A coax clamped at the platform that ends on a warmer sample is drawn down to the clamp."""
    coax = thermal.Run("coax", ends_on="sample", lags=(thermal.Lag("platform", 0.02, "grease", "good"),))
    (drop,) = _drawn({"coax": {"sample": Band.exact(0.01)}}, coax).drops
    assert drop.bottom_y == drop.knots[0].y
