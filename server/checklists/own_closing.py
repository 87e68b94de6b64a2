"""The list before closing and those of installing and learning, as a cryostat begins with them. Pure.

Common practice, no source.
"""

from server.checklists.lines import COUNT, NUMBER, SPRINGS, TEXT, TORQUE, Line

BEFORE_CLOSING = (
    Line("order", "Standing order read", "It says what this bench does its own way.", each="order"),
    Line(
        "hands",
        "Fresh gloves, sleeves back, pockets empty",
        "Skin grease gives off gas and darkens cold metal.",
    ),
    Line(
        "sample",
        "Sample fixed: varnish dry, or grease joint pressed and turned",
        "A dry joint leaves the sample a kelvin or more above the platform.",
        TEXT,
        cautions=("S19", "S11"),
    ),
    Line(
        "mount",
        "Screws at the stated torque; it cannot be turned by hand",
        "This joint is the largest resistance in the way of the heat.",
        TORQUE,
        each="joint",
    ),
    Line(
        "springs",
        "Every cold screw has its disc spring",
        "Without one the joint lets go when it shrinks.",
        SPRINGS,
        cautions=("S10",),
        each="joint",
    ),
    Line(
        "platform-screws",
        "Platform screws at the stated torque, driver read; only holes of the hole map used",
        "They grip without ruining a thread.",
        TORQUE,
    ),
    Line(
        "grease",
        "Thermal grease on every pressed joint made today",
        "A greased joint carries several times more.",
        TEXT,
    ),
    Line(
        "wires",
        "Each added wire: alloy read from its reel, gauge, number",
        "No copper gets into the sample space unnoticed.",
        TEXT,
    ),
    Line(
        "lags",
        "Under its clamp: pulled gently, slack on both sides",
        "A wire beside a clamp is not lagged.",
        each="lag",
    ),
    Line(
        "coax",
        "Coax clamped on bare jacket, connectors tight, second clamp at the platform",
        "Paint under a clamp spoils it.",
    ),
    Line(
        "continuity",
        "Used lines have continuity and isolation; mount to shield measured",
        "The last chance before a day and a half.",
        NUMBER,
        unit="kohm",
        cautions=("S09",),
    ),
    Line(
        "thermometers",
        "Heater and thermometers read sensibly: largest difference at room temperature",
        "Swapped leads and wrong curves show now.",
        NUMBER,
        unit="K",
        low=0.0,
        high=1.0,
    ),
    Line("left-behind", "No tape, tissue, foam, pencil mark or tool left inside", "It happens to everybody."),
    Line(
        "tray",
        "Parts tray: all that came out is in again; every tool on its board",
        "A lost washer is a touch.",
        COUNT,
    ),
    Line(
        "lid",
        "Lid on, screws counted; if not, say why",
        "The largest heat of all when it is off.",
        COUNT,
        each="lid",
    ),
    Line("shield-windows", "In its seat, clean, held", "Without it the room shines in.", each="window"),
    Line(
        "look-down",
        "Looked down with lamp and mirror: no wire on mount or shield, shield clear of the can",
        "A touch is the commonest cause of a warm base.",
        second=True,
    ),
    Line(
        "paper-gap",
        "A strip of paper passes all round the shield; objective clear of the bore",
        "A gap that is not seen is not there.",
    ),
    Line(
        "rings",
        "Ring out, wiped, looked at against the light, greased as the order says; seat wiped, no hair",
        "A dry, dirty or cut ring leaks.",
        each="ring",
    ),
    Line(
        "outer-windows",
        "No chip, no scratch a nail feels; seated, retaining ring finger-even",
        "Glass under vacuum breaks inwards and outwards.",
        cautions=("S04",),
        each="outer-window",
    ),
    Line("trapped", "No cable or hose was drawn under the can", "It leaks, or breaks later."),
    Line(
        "as-built",
        "Inside as written down: changes against the draft are in the book",
        "What is not written was never there.",
        TEXT,
    ),
)
VIBRATION = (
    Line(
        "before",
        "Spectrum at the sample first, cooler off, on, and pump on: file, rms, place of the sensor",
        "Without it nothing can be compared.",
        TEXT,
    ),
    Line(
        "table",
        "Table floats at its pressure, no leg aground; compressor on its own pads",
        "The floor is a way in.",
        TEXT,
    ),
    Line(
        "transport",
        "Transport parts of the packing list out, bagged, labelled",
        "One left in bridges all of it.",
        COUNT,
    ),
    Line("fixings", "Fixings to the table as the drawing shows, evenly tightened", "It rocks.", COUNT),
    Line(
        "cables",
        "Each cable and the pump line on a way of its own, slack loop clamped to the table",
        "Together they carry the pulse on.",
        TEXT,
    ),
    Line(
        "hoses",
        "Pulsating hoses free over their whole length, bend as the maker's sheet says",
        "A contact or a tight bend passes the pulse on.",
        TEXT,
        cautions=("S06", "S17"),
    ),
    Line(
        "hose-load", "Cooler on: load at the hose end measured", "A strained hose moves the cryostat.", TEXT
    ),
    Line(
        "one-change",
        "One change, one spectrum; all of it again when cold",
        "Links tighten on shrinking.",
        TEXT,
    ),
)
NEWCOMER = (
    Line(
        "room",
        "Room walked: exits, oxygen alarm, valves, stop buttons, telephone, each alarm",
        "In an alarm nobody reads.",
        second=True,
    ),
    Line(
        "nitrogen",
        "Said back: why nitrogen is dangerous, and that nobody goes in after a colleague",
        "Rescuers die as well.",
        second=True,
        cautions=("S01",),
    ),
    Line(
        "four-temperatures",
        "Knows the stages apart, and what each thermometer measures",
        "There is no such thing as the temperature.",
        TEXT,
    ),
    Line(
        "lag",
        "Found every lag of a real opening, lifted one, said what would follow",
        "The commonest heat there is.",
        second=True,
    ),
    Line("touch", "Found the touch that was planted", "Eyes learn it, not paper."),
    Line(
        "torque",
        "Torque felt on the dummy block, disc spring the right way up",
        "A stripped thread costs an opening.",
        second=True,
        cautions=("S10",),
    ),
    Line(
        "grease",
        "Vacuum grease and thermal grease told apart; how thin is thin",
        "The one ruins the other's work.",
        second=True,
    ),
    Line(
        "curves",
        "Read a pump-down and a cooldown: found the leak, and the cooler short of helium",
        "Trouble is in the curve first.",
        TEXT,
    ),
    Line(
        "build",
        "Wrote a configuration from real parts, one reel without a label",
        "The right answer: it is not used.",
        TEXT,
    ),
    Line(
        "openings",
        "One opening watched, one done under hand, one done watched: which",
        "Hands learn it.",
        TEXT,
    ),
    Line(
        "vent",
        "Warmed and vented under hand, purge stopped",
        "The step that fills rooms.",
        TEXT,
        second=True,
        cautions=("S01", "S02", "S03", "S05"),
    ),
    Line("night", "Night card gone through", "It is read in the dark.", cautions=("S15",)),
    Line(
        "faults", "Knows how a fault is reported: the problem, not the person", "What is hidden comes back."
    ),
    Line(
        "inductions",
        "Local inductions done, with their days: laser, lifting, solvents, electrical",
        "Local rules decide.",
        TEXT,
        cautions=("S07", "S08", "S09", "S11"),
    ),
    Line(
        "grade", "Grade, what it covers, until when, and who is asked", "Nobody guesses.", TEXT, second=True
    ),
)
