"""The words of the cards: what is dangerous, what to do, where the printed card belongs.

Common practice, no source, unless a source stands beside a card. The laboratory adds its own words to each.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class Words:
    """One card as the program brings it."""

    code: str
    title: str
    words: str
    places: str


CARDS = (
    # US Chemical Safety Board, bulletin 2003-10-B, on nitrogen: no warning, and rescuers among the dead.
    Words(
        "S01",
        "nitrogen or helium in the room",
        "Gas that displaces air has no smell and gives no warning. Open the door or run the ventilation, and "
        "read the oxygen display from outside before going in. When the alarm sounds, leave; do not go back, "
        "and do not go in after anybody. Close the purge before leaving.",
        "Room door, outside and inside; nitrogen valve; manifold",
    ),
    Words(
        "S02",
        "gas trapped in the cold",
        "What froze out in the cold comes back as gas on warming. Never warm with every valve shut and the "
        "relief blocked: pump on it, or see that the relief is free.",
        "Can, beside the relief; pump valve",
    ),
    Words(
        "S03",
        "over-pressure from the purge",
        "Windows are held on by vacuum; purge gas pushes them off. Keep the regulator below the limit "
        "written on this card.",
        "Purge regulator",
    ),
    # US Department of Energy, bulletin EH-0248 (92-2): fragments of an implosion fly outwards as well.
    Words(
        "S04",
        "windows under vacuum",
        "With a chip, or a scratch a fingernail feels, do not pump. Wear eye protection when leaning in, and "
        "drop nothing on the glass: an implosion throws its pieces outwards.",
        "Each outer window; sign for eye protection",
    ),
    Words(
        "S05",
        "cold surfaces",
        "Every thermometer reads above 290 K before hands or air go in. Cold metal burns skin and takes hold "
        "of it; cold plastics break.",
        "Shield lid; inside the can",
    ),
    Words(
        "S06",
        "high-pressure helium",
        "Hoses and couplings hold 14 to 20 bar at rest and more when running. Trained hands only, with two "
        "spanners. Never undo a coupling while the compressor runs or the cold head is cold.",
        "Compressor; both ends of each hose",
    ),
    Words(
        "S07",
        "lifting",
        "Read the mass before lifting: cold head, can, lid, compressor or pump. Above the local limit, two "
        "people or a hoist. Feet clear of what may fall.",
        "On each heavy part, with its mass in kilograms",
    ),
    Words(
        "S08",
        "laser light through the windows",
        "Know class, wavelength and eyewear. Block the beam before a head comes near the can. Each window "
        "face and every bright part inside sends some of it back.",
        "Door lamp; laser; microscope",
    ),
    Words(
        "S09",
        "high voltage and mains",
        "Set to zero and discharge before touching a pin: drives of moving stages, bias lines, heaters and "
        "gauges hold charge. Before service, make it dead and lock it off.",
        "Racks; feed-throughs; compressor",
    ),
    # 29 CFR 1910.1024: abrasive work on beryllium alloys is what the rule is about.
    Words(
        "S10",
        "beryllium-copper",
        "Use parts as they were supplied. No filing, sanding, drilling, cutting with heat or laser marking: "
        "the dust harms lungs for good. Wipe with a wet cloth, never brush or blow.",
        "Drawer of springs, contacts and coax; bench vice",
    ),
    Words(
        "S11",
        "solvents and varnish",
        "Small bottle, no flame or hot lamp near, ventilation on, eye protection. Keep solvents off O-rings. "
        "Varnish carries solvent until it has dried.",
        "Cabinet for flammables; bench",
    ),
    Words(
        "S12",
        "solder, flux and epoxy",
        "Draw off the fume and wash hands afterwards. Flux fume and uncured resin can make a person allergic "
        "for good, and lead is a poison: read the data sheet.",
        "Soldering bench",
    ),
    Words(
        "S13",
        "pump inlets and exhausts",
        "Never open the inlet of a pump that turns. Cloths, gloves and hair stay away from it, and the "
        "exhaust goes where nobody breathes it.",
        "Pumps",
    ),
    Words(
        "S14",
        "working alone",
        "Hands-on work alone, or out of hours, follows the local rule. Somebody knows when you should be "
        "back, and what to do when you are not.",
        "Room door",
    ),
    Words(
        "S15",
        "running unattended",
        "The card on the door says what runs, whom to call, and what to do in fire, flood or a power cut. In "
        "doubt, touch nothing and call.",
        "Room door, with name and number",
    ),
    Words(
        "S16",
        "starting by itself",
        "A machine may start again without a person there, after a power cut or by its own control. Write on "
        "this card which machines do and which do not, and keep hands out of both.",
        "Compressor; uninterruptible supply",
    ),
    Words(
        "S17",
        "hoses and leads on the floor",
        "Cover or lift whatever crosses a way. A foot in a lead stops a cooldown, and a hose pulled sideways "
        "breaks at its coupling.",
        "Floor between rack, compressor and cryostat",
    ),
    Words(
        "S18",
        "magnetic field",
        "Where a magnet is fitted: people with a pacemaker or an implant stay outside the marked line, and "
        "steel tools, gas bottles and cards stay away.",
        "Room door; line on the floor",
    ),
    Words(
        "S19",
        "samples of unknown hazard",
        "Say what the sample is, and what follows if it breaks, before it goes in. Arsenides, powders and "
        "nanomaterials need approval first.",
        "Sample bag; bench",
    ),
    Words(
        "S20",
        "hot parts",
        "Bake heaters, lamps, compressor and pumps stay hot after they are switched off. Let them cool, or "
        "wear gloves made for it.",
        "On each hot part",
    ),
)
