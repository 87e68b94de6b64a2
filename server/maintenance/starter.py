"""A first set of tasks, to be picked from.

Intervals are wide and from memory: the sheet of the maker for the very serial number, and the local scheme of
examinations, override each of them.
"""

from datetime import datetime

from sqlmodel import Session, select

from server.cryostats import guards
from server.errors import Refused
from server.maintenance import tasks
from server.maintenance.models import Task
from server.maintenance.tasks import Wanted
from server.people.models import Person

GAS, POWER, LIFT, BERYLLIUM, WINDOW, NITROGEN = "S06", "S09", "S07", "S10", "S04", "S01"
ENGINEER, STEWARD, USER = "engineer from outside", "steward", "trained user"


def _task(name: str, who: str, down_h: float, *cautions: str, **more: object) -> Wanted:
    return Wanted(name=name, who=who, down_h=down_h, cautions=cautions, **more)  # type: ignore[arg-type]


STARTER = {
    "adsorber": _task(
        "Change the adsorber of the compressor",
        ENGINEER,
        36,
        GAS,
        POWER,
        LIFT,
        limits={"compressor_hours": 20000},
        lead_days=56,
        stops_work=True,
        text="Couplings in the order of the sheet; supply locked off. Note both serial numbers.",
    ),
    "cold-head": _task(
        "Overhaul the cold head",
        ENGINEER,
        48,
        GAS,
        LIFT,
        limits={"cooler_hours": 15000},
        condition="knocks, or the shield is the first to warm",
        lead_days=56,
        stops_work=True,
        text="Clean, dry, pure helium only; hands the maker has trained.",
    ),
    "helium-pressure": _task(
        "Read the static helium pressure",
        USER,
        0,
        GAS,
        kind="check",
        limits={"cooldowns": 1, "days": 92},
        text="Off and at room temperature; write the room's temperature beside it.",
    ),
    "helium-leaks": _task(
        "Look for leaks at couplings and hoses",
        STEWARD,
        4,
        GAS,
        kind="check",
        limits={"days": 270},
        condition="moved, or topped up more than once a year",
        text="Hoses give way near the moving end. No pull to the side.",
    ),
    "water": _task(
        "Clean the filter of the cooling water",
        STEWARD,
        2,
        POWER,
        limits={"days": 120},
        condition="flow low, or the cabinet hot",
        text="Note flow and both temperatures before and after.",
    ),
    "pump": _task(
        "Change the tip seals of the backing pump",
        STEWARD,
        4,
        "S13",
        POWER,
        limits={"pump_hours": 10000, "days": 730},
        text="Dust: wipe wet. Note the ultimate pressure before and after.",
    ),
    "turbo": _task(
        "Bearings of the turbo pump",
        ENGINEER,
        48,
        "S13",
        POWER,
        limits={"turbo_hours": 30000, "days": 1460},
        text="Let it run down; never vent at speed.",
        lead_days=42,
    ),
    "ring-grease": _task(
        "Look at every ring that was disturbed, wipe it and grease it again",
        USER,
        0.2,
        kind="seal",
        limits={"openings": 1},
        text="Wipe dry, no solvent; look for metal dust; a film that only shines.",
    ),
    "ring-change": _task(
        "Change the rings of the lid and the can",
        USER,
        1,
        kind="seal",
        limits={"openings": 35, "days": 540},
        condition="flat, nicked, shiny or stiff",
        text="A new ring gives off gas for days: expect a slow first pump-down.",
    ),
    "screws": _task(
        "Tighten lid and platform again after an opening; springs the right way up",
        USER,
        0.5,
        BERYLLIUM,
        kind="seal",
        limits={"openings": 1},
        text="Preset driver. A worn thread goes on the map of holes.",
    ),
    "leak-check": _task(
        "Look for leaks with helium, warm",
        STEWARD,
        4,
        NITROGEN,
        kind="check",
        limits={"days": 270},
        condition="the rate of rise has doubled",
        text="From the top down, little gas, door open.",
    ),
    "windows": _task(
        "Look at the outer windows",
        USER,
        0.5,
        WINDOW,
        kind="check",
        limits={"openings": 1, "days": 365},
        condition="a chip, or a scratch a nail feels",
        text="Vacuum off before anybody touches them.",
        stops_work=True,
    ),
    "thermometers": _task(
        "Compare the thermometers at room temperature and at base",
        STEWARD,
        0,
        kind="check",
        limits={"days": 365},
        text="Write down the current and the file of the curve.",
    ),
    "reference": _task(
        "Bare reference cooldown with heater test",
        STEWARD,
        36,
        kind="check",
        limits={"days": 120},
        condition="serviced, moved, or the residual was outside twice",
        text="The standard build exactly.",
    ),
    "vibration": _task(
        "Vibration record at the sample, and a walk along every hose",
        STEWARD,
        3,
        "S17",
        kind="check",
        limits={"days": 180},
        condition="moved",
    ),
    "interlocks": _task(
        "Try interlocks, cut-outs and shutter",
        STEWARD,
        2,
        "S08",
        kind="drill",
        limits={"days": 270},
        text="With whoever answers for laser light present.",
    ),
    "oxygen": _task(
        "Try the oxygen alarm: lamp, sounder, sign",
        STEWARD,
        0.5,
        NITROGEN,
        kind="drill",
        limits={"days": 31},
        stops_work=True,
        text="By the local method. The display can be read from outside.",
    ),
    "oxygen-sensor": _task(
        "Calibration of the oxygen sensor",
        ENGINEER,
        0,
        NITROGEN,
        kind="certificate",
        limits={"days": 270},
        lead_days=28,
        stops_work=True,
    ),
    "pressure": _task(
        "Examination of the pressure system",
        ENGINEER,
        4,
        GAS,
        kind="certificate",
        limits={"days": 420},
        lead_days=42,
        stops_work=True,
        text="The local scheme decides the interval. Note the number of the certificate.",
    ),
    "lifting": _task(
        "Examination of the hoist and lifting gear",
        ENGINEER,
        1,
        LIFT,
        kind="certificate",
        limits={"days": 270},
        lead_days=28,
    ),
    "relief": _task(
        "Relief valve, burst disc and regulator",
        ENGINEER,
        4,
        "S02",
        "S03",
        kind="certificate",
        limits={"days": 730},
        lead_days=28,
        text="Never blanked off.",
    ),
    "call": _task(
        "Live call of the night alarm",
        STEWARD,
        0,
        kind="drill",
        limits={"days": 31},
        text="Who answered, after how many minutes, what was said.",
    ),
    "night": _task(
        "Rehearsal: the compressor stands, who is called, what is done",
        STEWARD,
        1,
        "S16",
        kind="drill",
        limits={"days": 365},
    ),
    "power": _task(
        "Power fails and comes back: what starts by itself",
        STEWARD,
        2,
        "S16",
        POWER,
        kind="drill",
        limits={"days": 270},
    ),
    "restore": _task(
        "Restore this book from its last backup, elsewhere",
        STEWARD,
        0,
        kind="drill",
        limits={"days": 365},
        text="How long it took, what was missing. Print the paper pack as well.",
    ),
    "torque": _task(
        "Check the torque drivers",
        "workshop",
        0,
        kind="certificate",
        limits={"days": 365},
        condition="dropped",
    ),
}
"""Key → a task to start from (common practice, no source; intervals from memory)."""


def lay_out(session: Session, person: Person, slug: str, keys: list[str], now: datetime) -> list[Task]:
    """Lay out the tasks that were picked; one whose name stands already is left as it is."""
    cryostat = guards.find(session, slug, lock=True)
    unknown = set(keys) - set(STARTER)
    if unknown or not keys:
        raise Refused("Nothing was laid out.", {"keys": "Tick at least one task of the set"})
    names = set(session.exec(select(Task.name).where(Task.cryostat_id == cryostat.id)).all())
    return [
        tasks.make(session, person, slug, STARTER[key], now) for key in keys if STARTER[key].name not in names
    ]
