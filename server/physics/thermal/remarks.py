"""What a person should look at in an element, whatever the temperatures."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from server.physics.materials import Material
from server.physics.thermal import fields
from server.physics.thermal.elements import Element, Hole, Joint, Lid, Touch, Window
from server.physics.thermal.recipe import INDEX, Place
from server.physics.thermal.results import Warning_
from server.physics.thermal.runs import MaterialName, Run

Remark = tuple[str, str]

LID = {
    "off": ("lid-off", "The lid is off: this is the largest item there is, and nobody can say how large."),
    "not-recorded": ("lid-not-recorded", "Nobody recorded whether the lid is on."),
}
WINDOW = {
    "out": ("window-out", "A shield window is out: room-temperature radiation comes straight in."),
    "not-recorded": ("window-not-recorded", "Nobody recorded what is in this port of the shield."),
}


def remarks(element: Element, place: Place) -> tuple[Warning_, ...]:
    """Warnings that need no temperature."""
    found = [*FINDERS.get(type(element), _nothing)(element)]
    if isinstance(element, Run) and not element.lags:
        found += _unlagged(element, place)
    return tuple(Warning_(element.key, code, text) for code, text in found)


def _nothing(_element: Any) -> Iterator[Remark]:
    yield from ()


def _run(run: Run) -> Iterator[Remark]:
    if run.material is None:
        yield "material-not-known", "The alloy is not known: read it off the reel. It may be copper."
    for lag in run.lags:
        if lag.state == "none":
            yield "lag-missing", f"There is no lag at the {lag.stage}: warm heat goes on to what is colder."
        elif lag.state != "good":
            word = "loose" if lag.state == "loose" else "not recorded"
            yield f"lag-{lag.state}", f"The lag at the {lag.stage} is {word}: it may hold or not."
    ends = [INDEX[cold] for _, cold in run.lengths_m]
    if ends and max(ends) < INDEX[run.ends_on]:
        last = fields.STAGES[max(ends)]
        held = any(lag.stage == last and lag.state != "none" for lag in run.lags)
        counts = "0.1 to 1 m" if held else "none"
        yield (
            "length-not-given",
            f"No length is given from the {last} to the {run.ends_on}: it counts as {counts}.",
        )
    if run.kind == "ribbon" and run.ground_plane == "not-recorded":
        yield (
            "ground-plane-not-recorded",
            "A ground plane carries as much heat as a thick wire: is there one?",
        )


def no_lid(stages: Iterable[str], elements: Iterable[Element]) -> tuple[Warning_, ...]:
    """A shield has a lid: one that is nowhere in the configuration may be off as well as on."""
    if "shield" not in stages or any(isinstance(element, Lid) for element in elements):
        return ()
    text = "No lid of the shield is entered, on or off. Off, it is the largest item there is: enter it."
    return (Warning_(None, "lid-not-recorded", text),)


def _unlagged(run: Run, place: Place) -> Iterator[Remark]:
    """A run that goes by a cold stage and is held by none."""
    start = min((INDEX[hot] for hot, _ in run.lengths_m), default=0)
    passed = [stage for stage in ("shield", "platform") if start < INDEX[stage] < INDEX[run.ends_on]]
    for stage in [stage for stage in passed if place.has(stage)][:1]:
        yield "no-lag", f"No lag at the {stage}: warm heat goes straight on to the {run.ends_on}."


def has_copper(run: Run) -> bool:
    """Whether a conductor of a run is copper."""
    return _is_copper(run.material) or (run.kind == "coax" and _is_copper(run.centre_material))


def _is_copper(name: MaterialName) -> bool:
    return name.kind == "copper" if isinstance(name, Material) else str(name).startswith("copper-")


def _lid(lid: Lid) -> Iterator[Remark]:
    if lid.state in LID:
        yield LID[lid.state]


def _window(window: Window) -> Iterator[Remark]:
    if window.state in WINDOW:
        yield WINDOW[window.state]


def _hole(hole: Hole) -> Iterator[Remark]:
    if hole.covered == "not-recorded":
        yield "hole-not-recorded", "Nobody recorded whether this hole is covered."


def _touch(touch: Touch) -> Iterator[Remark]:
    if touch.state == "not-checked":
        yield "touch-not-checked", "Nobody has checked whether this touches. An order of magnitude, no more."
    elif touch.state == "present":
        yield "touch", "Something touches here. Its heat is an order of magnitude, no more."


def _joint(joint: Joint) -> Iterator[Remark]:
    if joint.screws < joint.screws_of:
        yield "screws-missing", f"{joint.screws} of {joint.screws_of} screws are tightened."
    if joint.springs < joint.springs_of:
        yield "springs-missing", f"{joint.springs} of {joint.springs_of} disc springs are fitted."
    if joint.resistance_K_W is None and joint.filler == "unknown":
        yield "joint-not-known", "Nobody recorded how this joint was made, nor measured it."


FINDERS: dict[type, Callable[[Any], Iterator[Remark]]] = {
    Run: _run,
    Lid: _lid,
    Window: _window,
    Hole: _hole,
    Touch: _touch,
    Joint: _joint,
}
