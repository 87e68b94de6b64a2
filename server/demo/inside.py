"""The demo's things with a name: parts and their fates, ports, samples, dirt, counters, pictures."""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

from PIL import Image, ImageDraw
from sqlmodel import Session

from server.cryostats import (
    counters,
    dirt,
    guards,
    part_photographs,
    parts,
    photographs,
    ports,
    samples,
)
from server.cryostats.counters import Shown
from server.cryostats.dirt_rules import Said as Dirt
from server.cryostats.part_rules import Described, Lent, Told
from server.cryostats.photographs import About, Picture
from server.cryostats.port_rules import COAX, Entered, Measured, Readings
from server.cryostats.ports import Said
from server.cryostats.samples import Described as Sample
from server.demo.benches import LIGHT, NEW, STEWARD, WIRES
from server.people.models import Person

People = Mapping[str, Person]
Draw = Callable[[ImageDraw.ImageDraw], None]
LOOM = {"alloy": "phosphor bronze", "gauge": "AWG 36", "lines": "24", "length": "0.45 m"}
PARTS = (
    Described("loom-03", "loom", "Twelve twisted pairs", "", LOOM, place="Drawer 2"),
    Described("loom-04", "loom", "Old loom", "", {"alloy": "not known", "lines": "24"}, place="Drawer 2"),
    Described(
        "thermo-p1",
        "thermometer",
        "Platform, ruthenium oxide",
        "R-0417",
        {"type": "ruthenium oxide", "curve_file": "r0417.txt", "covered": "1.4 K to 40 K"},
        place="On the platform",
    ),
    Described("ring-can-2", "ring", "Ring of the can, spare", "", {"flange": "can", "compound": "FKM"}),
    Described("driver-1", "torque-driver", "Small driver", "", {"range": "0.1–1 N·m", "setting": "0.5 N·m"}),
)
METER_H = 11_840.0
"""What the compressor's meter showed when the book began."""


def before(session: Session, people: People, begun: datetime) -> None:
    """The parts, before any configuration names one."""
    for said in PARTS:
        parts.enter(session, people[STEWARD], said, begun, begun.date())


def tell(session: Session, people: People, begun: datetime, home: Path) -> None:
    """What happened beside the configurations, in the order of the year."""
    _parts(session, people, begun, home)
    _ports(session, people, begun)
    _samples(session, people, begun)
    _dirt(session, people, begun)
    _counters(session, people, begun)
    _photographs(session, people, begun, home)


def _day(begun: datetime, day: float) -> datetime:
    return begun + timedelta(days=day)


def _parts(session: Session, people: People, begun: datetime, home: Path) -> None:
    at = _day(begun, 204)
    told = Told(at.date(), "shelf", "", "continuity, warm", "all 24 lines through", "After it was mended")
    parts.tell(session, people[WIRES], "loom-03", told, at, at.date())
    told = Told(at.date(), "broken", "Drawer 2", "continuity, warm", "lines 3, 7 and 11 open")
    parts.tell(session, people[WIRES], "loom-04", told, at, at.date())
    at = _day(begun, 330)
    lent = Lent("The optics laboratory next door", at.date(), _day(begun, 351).date(), note="For their lid")
    parts.lend(session, people[STEWARD], "driver-1", lent, at, at.date())
    picture = (_drawn("loom-03, both ends", _loom),)
    part_photographs.add(session, people[WIRES], "loom-03", "Both ends, marked", picture, home, at)


def _ports(session: Session, people: People, begun: datetime) -> None:
    steward, at = people[STEWARD], _day(begun, 28)
    for port in (
        Entered("A", "25-way, in the side flange", 25),
        Entered("B", "25-way, in the side flange", 25),
        Entered("RF", "Four coaxial connectors", 4, carries=COAX),
    ):
        ports.add(session, steward, "bench-a", port, at)
    first, second = ports.of_cryostat(session, guards.find(session, "bench-a"))[:2]
    dead = Said((7,), "dead", note="Open inside the feed-through")
    ports.connect(session, people[WIRES], "bench-a", first.id or 0, dead, at)
    for there, pins in ((first, (*range(1, 7), *range(8, 14))), (second, range(1, 13))):
        said = Said(tuple(pins), "line", f"dc {there.name}", "loom-24")
        ports.connect(session, people[WIRES], "bench-a", there.id or 0, said, _day(begun, 205))
    for day, open_pin in ((205, 0), (319, 5)):
        lines = tuple(
            Measured("A", pin, f"dc A {pin}", pin == open_pin, None if pin == open_pin else 38.5 + pin / 10,
                     2e8, isolation_more=True)
            for pin in (*range(1, 7), *range(8, 14))
        )  # fmt: skip
        on = _day(begun, day)
        test = Readings(on.date(), "off", lines, 3.1e3 if open_pin else 2e8, not open_pin)
        ports.measure(session, people[WIRES], "bench-a", test, on, on.date(), {})


def _samples(session: Session, people: People, begun: datetime) -> None:
    at = _day(begun, 32)
    first = Sample(
        "Gated membrane, chip 12",
        people[WIRES].id or 0,
        "none-known",
        "varnish",
        3,
        carrier="16-pin carrier",
        mount="mount-joint",
    )
    row = samples.put_in(session, people[WIRES], "bench-a", first, at, at.date())
    samples.take_out(session, people[WIRES], row.id or 0, "In the desiccator", _day(begun, 150))
    at = _day(begun, 319)
    second = Sample(
        "Arsenide heterostructure, piece C",
        people[NEW].id or 0,
        "toxic",
        "silver-paint",
        guards.find(session, "bench-a").revision,
        "Leave the room shut, gloves, tell the steward; the pieces go into the marked jar",
        "Copper plate",
        mount="mount-joint",
    )
    row = samples.put_in(session, people[NEW], "bench-a", second, at, at.date())
    samples.approve(session, people[STEWARD], row.id or 0, "In its lidded carrier", at)


def _dirt(session: Session, people: People, begun: datetime) -> None:
    vented = {"gas": "nitrogen", "open_s": 9000.0, "humidity": 0.4}
    paint = {"mass_kg": 1e-5, "cured_s": 43200.0}
    told: tuple[tuple[int, str, str, str, str, dict[str, Any]], ...] = (
        (31, WIRES, "bench-a", "solid", "Polyimide tape", {"area_m2": 0.004, "baked": "no"}),
        (151, LIGHT, "bench-a", "vent", "Window turned", vented),
        (318, NEW, "bench-a", "fluid", "Silver paint under the sample", paint),
        (341, LIGHT, "bench-b", "vent", "Lid off for the objective", {"gas": "air", "open_s": None}),
    )
    for day, who, slug, kind, what, data in told:
        at = _day(begun, day)
        dirt.write(session, people[who], slug, Dirt(kind, what, data, at), at)


def _counters(session: Session, people: People, begun: datetime) -> None:
    cryostat, steward = guards.find(session, "bench-a"), people[STEWARD]
    for name, value in (("cooldowns", 61), ("openings", 88), ("pump_hours", 5210.0)):
        said = Shown(name, value, _day(begun, 0), "As it stood when this book began")
        counters.read(session, steward, cryostat, said, _day(begun, 0))
    readings = (
        (0, METER_H, False),
        (90, METER_H + 1980, False),
        (180, METER_H + 3990, False),
        (240, 12.0, True),
        (330, 1985.0, False),
    )
    for day, value, replaced in readings:
        note = "The meter was replaced" if replaced else "By photograph"
        at = _day(begun, day)
        said = Shown("compressor_hours", value, at, note, replaced=replaced)
        counters.read(session, steward, cryostat, said, at)


def _photographs(session: Session, people: People, begun: datetime, home: Path) -> None:
    for day, revision, element, stage, caption, draw in (
        (31, 3, "loom-24", "shield", "The lag at the shield, before the tape", _loom),
        (46, 4, "", "", "The platform from above, all screws in", _platform),
    ):
        about = About(revision, "photograph", caption, element, stage)
        picture = (_drawn(caption, draw),)
        at = _day(begun, day)
        photographs.add(session, people[WIRES], "bench-a", about, picture, home, at)


def _loom(on: ImageDraw.ImageDraw) -> None:
    """Twelve pairs under a clamp."""
    on.rectangle((0, 250, 960, 400), fill="#b87f4d")
    for pair in range(12):
        y = 150 + 28 * pair
        for shift, colour in ((0, "#7a4a21"), (7, "#9c6a35")):
            on.line([(x, y + shift + 6 * (x // 24 % 2)) for x in range(0, 961, 24)], fill=colour, width=5)
    on.rectangle((360, 120, 600, 520), fill="#8d9197", outline="#55585d", width=4)
    for x, y in ((395, 160), (565, 160), (395, 480), (565, 480)):
        on.ellipse((x - 18, y - 18, x + 18, y + 18), fill="#4d5056")


def _platform(on: ImageDraw.ImageDraw) -> None:
    """A round plate with its screws and the mount in the middle."""
    on.ellipse((200, 20, 760, 580), fill="#c08a58", outline="#7a4a21", width=6)
    for x, y in ((480, 60), (680, 180), (680, 420), (480, 540), (280, 420), (280, 180)):
        on.ellipse((x - 16, y - 16, x + 16, y + 16), fill="#5a5d62")
    on.rectangle((400, 220, 560, 380), fill="#9a9da3", outline="#55585d", width=4)
    on.rectangle((450, 270, 510, 330), fill="#2f4858")


def _drawn(words: str, draw: Draw) -> Picture:
    """A picture drawn here and now, so that the demo brings none along."""
    image = Image.new("RGB", (960, 640), "#d9d4c7")
    draw(ImageDraw.Draw(image))
    ImageDraw.Draw(image).text((24, 604), words, fill="#33302a", font_size=22)
    to = BytesIO()
    image.save(to, "PNG")
    pictures, wrong = photographs.decoded([("drawn.png", to.getvalue())], documents=False)
    assert not wrong, wrong
    return pictures[0]
