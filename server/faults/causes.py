"""Causes a fault may turn out to have: one list, so that what was found can be counted later. Pure.

Common practice, no source. What none of them says stands in words beside “another cause”.
"""

OTHER = "other"
GROUPS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Something touches, or is not fastened",
        (
            ("touch-mount-shield", "Wire or mount touches the shield"),
            ("touch-shield-vessel", "Shield touches the can"),
            ("joint-loose", "Screw of a joint loose, or its disc spring missing"),
            ("joint-dry", "Joint dry: no grease, or a void in the varnish"),
            ("link-loose", "Link between cooler and stage loose or broken"),
            ("sensor-loose", "Thermometer came loose"),
        ),
    ),
    (
        "More heat than the books say",
        (
            ("wire-added", "Copper, braid or wire that nobody wrote down"),
            ("lag-missing", "Wire not under its lag, or lag loose"),
            ("lid-open", "Lid off or its screws missing"),
            ("window-missing", "Shield window out, not seated, or dirty"),
            ("foil-open", "Foil open, or shield dirty"),
            ("light-absorbed", "Laser, lamp or room light absorbed"),
            ("self-heating", "Self-heating, or a heater left on"),
            ("mass-added", "New heavy part takes long to cool"),
        ),
    ),
    (
        "Cooler, compressor, helium",
        (
            ("helium-low", "Helium charge low"),
            ("helium-dirty", "Helium circuit contaminated"),
            ("adsorber-tired", "Adsorber due"),
            ("cold-head-worn", "Cold head worn: seals, regenerator, valve motor"),
            ("coupling-half-open", "Hose coupling not home, or cold head not powered"),
            ("water", "Cooling water: temperature, flow, filter"),
            ("power", "Mains: phase lost, fuse, cut"),
            ("room-warm", "Room, sun or air conditioning"),
        ),
    ),
    (
        "Vacuum",
        (
            ("ring-dirty", "Ring dry, dirty, flat or cut; hair on it"),
            ("ring-cold", "Ring too cold beside a cold flange"),
            ("window-seat", "Outer window not seated, or chipped"),
            ("feed-through", "Feed-through or vent valve leaks"),
            ("water-inside", "Water: long open, vented with air, new plastic"),
            ("virtual-leak", "Trapped volume, blind screw"),
            ("getter-full", "Getter full, or helium let in"),
            ("pump", "Pump or its line"),
            ("relief", "Relief blocked, or gas left on"),
        ),
    ),
    (
        "Measuring",
        (
            ("gauge", "Gauge head, cable or gas factor"),
            ("curve-wrong", "Wrong curve, excitation or lead resistance"),
            ("sensor-drifted", "Thermometer drifted or cracked"),
            ("logger", "Logger frozen, limits off, number changed"),
            ("line-broken", "Broken bond, cracked joint or connector"),
            ("line-to-ground", "Line leaks to ground: enamel cut, wire on the lid"),
            ("not-recorded", "Something differed that nobody had written down"),
        ),
    ),
    (
        "Vibration",
        (
            ("hose-contact", "Hose or cable touches, strained or bundled with another"),
            ("transport-part", "Transport part still fitted"),
            ("fixing", "Fixing to the table missing or uneven"),
            ("table-grounded", "Table not floating, floor path"),
            ("pump-running", "Pump on while measuring"),
            ("contraction", "Contraction after cooling, not settled yet"),
        ),
    ),
    (
        "None of these",
        (("worn", "Wear or age"), (OTHER, "Another cause, in words"), ("unknown", "Not found")),
    ),
)
"""Heading → rows of (key, words), as a menu shows them."""
CAUSES = {key: words for _, rows in GROUPS for key, words in rows}
"""Key → words of every cause."""
