"""How a cryostat has been getting cold: cooler, usual times, the last cooldowns and openings, the night."""

from collections.abc import Mapping, Sequence

from sqlmodel import Session, col, select

from server.cooldowns import channels, entry_kinds, finding, night_orders, residual, trends
from server.cooldowns import rules as cooldowns
from server.cooldowns.finding import Sheet
from server.cooldowns.models import Cooldown, TrendBreak
from server.cooldowns.night_models import NightRoster, NightRule
from server.cooldowns.night_rules import ITSELF, contact_of, night_of
from server.cooldowns.residual_rules import Residual
from server.cryostats import cooldown_estimate
from server.cryostats.models import CoolerVersion, Cryostat
from server.handover.rules import NOTHING, Chapter, Clock
from server.laboratory.order_models import StandingOrder
from server.openings import finding as openings
from server.openings import rules as opening_rules
from server.openings import service as opening_service
from server.openings.kinds import PHASES
from server.record.rules import Section
from server.units import in_unit, show_band, unit_for

LAST_COOLDOWNS = 20
LAST_OPENINGS = 10
LAST_BREAKS = 10
OPENING_PHASES = {"vent": "Vent", "refit": "Refit", "close": "Close", "pump": "Pump after closing"}


def chapter(session: Session, cryostat: Cryostat, cooler: CoolerVersion | None, clock: Clock) -> Chapter:
    """Cooler and reference, usual times, the last cooldowns with their residuals, the last openings."""
    sections = (
        _cooler(session, cryostat, cooler, clock),
        _usual(session, cryostat),
        _cooldowns(session, cryostat, clock),
        _breaks(session, cryostat, clock),
        _openings(session, cryostat, clock),
        _channels(session, cryostat, clock),
    )
    return Chapter("cold", "How it gets cold", sections)


def _cooler(session: Session, cryostat: Cryostat, row: CoolerVersion | None, clock: Clock) -> Section:
    basis = cooldown_estimate.newest(session, cryostat)
    rows = []
    if row is not None:
        points = row.data.get("cooler", {}).get("points", ())
        bare = f"revision {row.bare_revision}" if row.bare_revision else "an empty cryostat"
        kind = str(row.data.get("cooler", {}).get("kind", "")).replace("-", " ")
        rows.append(
            (
                f"Cooler, version {row.number}",
                f"{kind}, {len(points)} points",
                bare,
                row.note,
                row.by_name,
                clock.day(row.at),
            )
        )
        rows += [("Point", _point(point), "", "", "", "") for point in points]
    if basis is not None:
        rows.append(
            (
                f"Cooldown basis, version {basis.number}",
                str(basis.data.get("kind", "")).replace("-", " "),
                f"revision {basis.revision}",
                basis.note,
                basis.by_name,
                clock.day(basis.at),
            )
        )
    head = ("What", "How it is known", "Measured with", "Note", "By", "Entered")
    return Section(
        "Cooler and reference", head, tuple(rows), "No cooler is entered, so nothing is predicted."
    )


def _point(point: Mapping[str, object]) -> str:
    """`heated platform, added 0.03 W, platform 3.4 K`: what its unit says stands behind the number."""
    told = []
    for name, value in point.items():
        words, _, unit = name.rpartition("_")
        told.append(f"{words} {value} {unit}" if words else f"{name} {value}")
    return ", ".join(told)


def _usual(session: Session, cryostat: Cryostat) -> Section:
    key = cryostat.id or 0
    cold, opened = trends.durations(session, key), opening_service.durations(session, key)
    rows = [_time(words, cold[name]) for name, words in trends.PHASES.items() if name in cold]
    rows += [_time(words, opened[name]) for name, words in OPENING_PHASES.items() if name in opened]
    head = ("Phase", "Usual (median)", "The middle 80 in 100", "Of how many")
    return Section("Usual times", head, tuple(rows), "There are too few cooldowns and openings to tell.")


def _time(words: str, usual: cooldowns.Usual | opening_rules.Usual) -> tuple[str, ...]:
    band = ""
    if usual.low is not None and usual.high is not None:
        band = f"{in_unit(usual.low, 'h')} to {in_unit(usual.high, 'h')}"
    return (words, in_unit(usual.median, "h"), band, str(usual.count))


def _cooldowns(session: Session, cryostat: Cryostat, clock: Clock) -> Section:
    query = select(Cooldown).where(Cooldown.cryostat_id == cryostat.id)
    rows = session.exec(query.order_by(col(Cooldown.number).desc()).limit(LAST_COOLDOWNS)).all()
    told = tuple(_cooldown(session, sheet, clock) for sheet in finding.sheets(session, cryostat, rows))
    head = (
        "Cooldown",
        "Begun",
        "Ended",
        "Revision",
        "Base, measured",
        "Measured minus predicted",
        "Purpose",
        "Last words",
    )
    return Section(f"The last {LAST_COOLDOWNS} cooldowns", head, told, NOTHING)


def _cooldown(session: Session, sheet: Sheet, clock: Clock) -> tuple[str, ...]:
    row, found = sheet.cooldown, residual.of(session, sheet)
    read = [f"{one.stage} {in_unit(one.measured_K, 'K', 4)}" for one in found if one.measured_K is not None]
    word = cooldowns.newest(sheet.entries, entry_kinds.WORD)
    return (
        str(row.number),
        clock.when(row.begun_at),
        clock.when(row.ended_at) or sheet.phase,
        str(sheet.expectation.revision) if sheet.expectations else "",
        "; ".join(read) or "no base is written down",
        "; ".join(_apart(one) for one in found),
        row.purpose,
        word.note if word else "",
    )


def _apart(row: Residual) -> str:
    if row.difference_K is None:
        return f"{row.stage}: {row.verdict}{': ' if row.reason else ''}{row.reason}"
    size = show_band(row.difference_K, unit_for([row.difference_K], "K"), signed=True)
    return f"{row.stage} {size}, {row.verdict}"


def _breaks(session: Session, cryostat: Cryostat, clock: Clock) -> Section:
    query = select(TrendBreak).where(TrendBreak.cryostat_id == cryostat.id)
    rows = session.exec(query.order_by(col(TrendBreak.at).desc()).limit(LAST_BREAKS)).all()
    told = tuple((clock.day(row.at), row.reason, row.by_name) for row in rows)
    return Section("Since when it is compared anew", ("From", "Why", "By"), told, NOTHING)


def _openings(session: Session, cryostat: Cryostat, clock: Clock) -> Section:
    rows = tuple(
        (
            str(row.number),
            row.why,
            PHASES[opening_rules.phase(row)],
            clock.when(row.begun_at),
            clock.when(row.ended_at),
            in_unit(row.open_s, "h") if row.open_s is not None else "",
            row.by_name,
        )
        for row in openings.openings_of(session, cryostat, LAST_OPENINGS)
    )
    head = ("Opening", "Why", "Where it stands", "Begun", "Over", "Gas or air inside for", "By")
    return Section(f"The last {LAST_OPENINGS} openings", head, rows, NOTHING)


def _channels(session: Session, cryostat: Cryostat, clock: Clock) -> Section:
    rows = tuple(
        (
            row.name,
            row.quantity,
            row.unit,
            row.stage,
            row.part,
            in_unit(row.silent_after_s, unit_for([row.silent_after_s], "s"))
            if row.silent_after_s
            else "it may be silent",
            f"ended {clock.day(row.ended_at)}" if row.ended_at else "",
        )
        for row in channels.of(session, cryostat.id or 0)
    )
    head = ("Channel", "Quantity", "Unit", "Stage", "Part", "Silent is a fault after", "Ended")
    return Section("What is logged", head, rows, NOTHING)


def night(
    session: Session,
    cryostat: Cryostat,
    kept: tuple[NightRule | None, NightRoster | None],
    orders: Sequence[StandingOrder],
    clock: Clock,
) -> Chapter:
    """Whom to call, this cryostat's numbers, and the standing orders."""
    rule, roster = kept
    swaps = night_orders.swaps_from(session, cryostat.id or 0, night_of(clock.now, clock.zone))
    contacts = tuple(
        (row.name, row.phone, row.may_words, row.nights, f"{row.after_min} min", row.instead_of)
        for row in map(contact_of, roster.contacts if roster else ())
    )
    swapped = tuple((row.night.isoformat(), row.instead_of, row.name, row.phone) for row in swaps)
    ordered = tuple(
        (
            "the laboratory" if row.scope == "laboratory" else cryostat.name,
            row.text,
            row.by_name,
            clock.day(row.at),
        )
        for row in orders
    )
    head = ("Whom to call", "Telephone", "May", "Nights", "After", "Instead of")
    return Chapter(
        "night",
        "Nights, contacts and standing orders",
        (
            Section("Whom to call, in order", head, contacts, "Nobody is named."),
            Section("Nights exchanged", ("Night", "Instead of", "Who", "Telephone"), swapped, NOTHING),
            _rule(rule, clock),
            Section("Standing orders in force", ("For", "Order", "By", "Written"), ordered, NOTHING),
        ),
    )


def _rule(rule: NightRule | None, clock: Clock) -> Section:
    if rule is None:
        return Section("Numbers of the night", ("What", "Here"), (), "No numbers are written down.")
    told = (
        (
            "Cooling begins below",
            in_unit(rule.go_Pa, "mbar") if rule.go_Pa is not None else "nobody has said",
        ),
        (
            "Not started again above",
            in_unit(rule.restart_Pa, "mbar") if rule.restart_Pa is not None else "nobody has said",
        ),
        (
            "Not started again after a stop of",
            in_unit(rule.longest_stop_s, "min") if rule.longest_stop_s is not None else "nobody has said",
        ),
        ("By itself", ITSELF[rule.restarts_itself]),
        ("Who decides", rule.decides or "nobody is named"),
        *(("Do not", words) for words in rule.donts),
        ("Words", rule.words),
        ("Written", f"version {rule.number}, {clock.day(rule.at)}, {rule.by_name}"),
    )
    return Section("Numbers of the night", ("What", "Here"), told)
