"""The lists before cooling and before warming, as a cryostat begins with them. Pure.

Common practice, no source; below 19.5 % of oxygen a room counts as deficient (29 CFR 1910.146, from memory).
"""

from server.checklists.lines import NUMBER, TEXT, Line

BEFORE_COOLING = (
    Line("order", "Standing order read", "It says what this bench does its own way.", each="order"),
    Line(
        "pump-down",
        "Time down to 1 mbar, against what this bench takes",
        "The first sign of a leak.",
        NUMBER,
        unit="min",
    ),
    Line(
        "rise",
        "Rise of pressure in the standard wait",
        "Straight: a leak. Bending over: dirt or water.",
        NUMBER,
        unit="mbar",
    ),
    Line(
        "pressure",
        "Pressure now; below the number at which this bench is cooled",
        "On a bad vacuum the dirt freezes onto the platform.",
        NUMBER,
        unit="mbar",
        low=0.0,
        gate=True,
    ),
    Line(
        "static",
        "Static helium pressure, off and warm",
        "How the cooler does.",
        NUMBER,
        unit="bar",
        cautions=("S06",),
    ),
    Line("water", "Cooling water on: temperature and flow, or fans clear", "It trips at night.", TEXT),
    Line("hours", "Compressor hours", "The clock of its wear.", NUMBER, unit="h"),
    Line("hoses", "Hoses free, nothing leans on them", "Contact shakes the sample.", cautions=("S17",)),
    Line(
        "nitrogen",
        "Nitrogen shut at the source, regulator backed off, relief free",
        "Cooled with the purge open, it fills.",
        cautions=("S03",),
    ),
    Line(
        "logger",
        "The logger writes now, limits set, call-out tried: last time stamp",
        "A silent logger looks like a quiet night.",
        TEXT,
    ),
    Line(
        "expected",
        "Expected base and its band written before starting",
        "Afterwards everything looks normal.",
        TEXT,
    ),
    Line(
        "beams",
        "Laser blocked, heater off, set-point at zero",
        "Nothing heats while it cools.",
        cautions=("S08",),
    ),
    Line(
        "night",
        "Night contact and card on the door: name and number",
        "Somebody has to be called.",
        TEXT,
        cautions=("S14", "S15", "S16"),
    ),
    Line("after-an-hour", "After an hour: both stages fall on the usual curve", "Better stopped early."),
    Line(
        "at-base",
        "At base: platform, shield, sample, cold pressure, and a line of words",
        "What all of it was for.",
        TEXT,
    ),
    Line(
        "walk-round",
        "At base: pump valve as the order says; hoses and bolts walked round",
        "Shrinking moves things.",
    ),
)
BEFORE_WARMING = (
    Line("order", "Standing order read", "It says what this bench does its own way.", each="order"),
    Line(
        "next-user",
        "Whoever is next agrees that it is warmed",
        "A cold day and a half is worth asking for.",
        TEXT,
    ),
    Line(
        "data", "Data that need it cold are taken, thermometer readings saved", "There is no second chance."
    ),
    Line(
        "sources",
        "Laser blocked, sources at zero, lines grounded",
        "Static, and surprise.",
        cautions=("S08", "S09"),
    ),
    Line(
        "compressor",
        "Compressor off by its own switch: hours it shows",
        "The clock of its wear.",
        NUMBER,
        unit="h",
        cautions=("S16",),
    ),
    Line(
        "relief-free",
        "Relief free, and the pump connected and running before gas comes off",
        "What froze out comes back as gas.",
        gate=True,
        cautions=("S02",),
    ),
    Line(
        "heater",
        "Assist heater: its limit, never above what the order says",
        "Varnish cooks.",
        NUMBER,
        unit="K",
        high=300.0,
    ),
    Line(
        "all-warm",
        "The coldest of all thermometers",
        "Below 290 K water and frost come in with the gas, and metal burns skin.",
        NUMBER,
        unit="K",
        low=290.0,
        gate=True,
        cautions=("S05",),
    ),
    Line(
        "oxygen",
        "Door and ventilation as the order says; oxygen display read, from outside",
        "Nitrogen gives no warning.",
        NUMBER,
        unit="%",
        low=0.195,
        second=True,
        gate=True,
        cautions=("S01", "S14"),
    ),
    Line("pump-shut", "Pump shut off, gauge off if the order says so", "Gas into a running pump."),
    Line(
        "nitrogen",
        "Regulator at this bench's limit, relief set below it; opened slowly, gauge watched",
        "Gas pushes windows and lid off.",
        cautions=("S01", "S03"),
    ),
    Line(
        "nitrogen-shut",
        "Stopped at atmospheric pressure, or when the relief opens; nitrogen shut at the source: time",
        "A purge left open overnight fills the room.",
        TEXT,
        cautions=("S01",),
    ),
    Line(
        "lid",
        "Lid held, two people if heavy, lifted straight",
        "Fingers, and the shield beneath.",
        cautions=("S07",),
    ),
    Line(
        "cover",
        "Clean cover over the open chamber; clock started",
        "Every open hour is pumped out again later.",
        TEXT,
    ),
    Line("photograph", "Photographed before anything is touched", "Nobody remembers how it lay."),
    Line("hand-over", "Hand-over written", "The next hands were not here.", TEXT),
)
