"""What the card of the night and the lists around it show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sqlmodel import Session

from server.cooldowns import night, night_orders, night_rules
from server.cooldowns.night import NightCard
from server.cooldowns.night_models import NightRecord, NightRoster, NightRule, NightSwap
from server.cooldowns.night_rules import ITSELF, MAY, MOST_CONTACTS, Contact, Numbers, contact_of
from server.cooldowns.readings_asked import Latest
from server.cooldowns.views import Trouble
from server.cryostats import guards, instruments
from server.cryostats.models import Cryostat, StateEntry
from server.cryostats.rules import OPERATE, STATES, STEWARD
from server.people.models import Person
from server.units import in_unit, show
from server.web.moments import when

NIGHTS_AHEAD = 14
SPARE = 2
DAYS = (("0", "Mon"), ("1", "Tue"), ("2", "Wed"), ("3", "Thu"), ("4", "Fri"), ("5", "Sat"), ("6", "Sun"))


@dataclass(frozen=True)
class NightsView:
    """Every cryostat, for the way to its card in one more tap."""

    rows: Sequence[tuple[Cryostat, StateEntry | None, str]]


def index(session: Session) -> NightsView:
    """All of them with their state, those that are cold first."""
    states = instruments.states_now(session)
    rows = [(row, states.get(row.id or 0)) for row in instruments.all_of(session)]
    rows.sort(key=lambda row: (row[1] is None or row[1].state not in ("cold", "cooling"), row[0].name))
    return NightsView([(row, state, STATES.get(state.state, "") if state else "") for row, state in rows])


@dataclass(frozen=True)
class CardView:
    """The card, and the form of the record."""

    card: NightCard
    rule_lines: Sequence[str]
    state_words: str
    stopped_for: str
    readings: Sequence[tuple[str, str, datetime | None, bool]]
    """Channel, value or that there is none, when it was read last, silent."""
    may_swap: bool
    steward: bool
    trouble: Trouble


def card(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    zone: str,
    now: datetime,
    trouble: Trouble | None = None,
) -> CardView:
    """The card of one cryostat now."""
    found = night.card(session, cryostat, zone, now)
    grade = guards.grade_of(session, person, cryostat)
    state = found.standing.state
    return CardView(
        card=found,
        rule_lines=rule_lines(found.rule.numbers),
        state_words=STATES.get(state.state, state.state) if state else "not entered",
        stopped_for="" if found.stopped_s is None else lasted(found.stopped_s),
        readings=[_reading(row) for row in found.standing.readings if row.channel.ended_at is None],
        may_swap=grade >= OPERATE,
        steward=grade >= STEWARD,
        trouble=trouble or Trouble(),
    )


def rule_lines(numbers: Numbers | None) -> list[str]:
    """The rule of a cryostat, one line each, for the page, the paper and the text."""
    if numbers is None:
        return []
    lines = []
    if numbers.restart_Pa is not None:
        lines.append(f"Do not start it again above {in_unit(numbers.restart_Pa, 'mbar')}.")
    if numbers.longest_stop_s is not None:
        lines.append(f"Do not start it again after a stop of more than {lasted(numbers.longest_stop_s)}.")
    return lines


def lasted(seconds: float) -> str:
    """Minutes up to two hours, then hours."""
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"


def _reading(row: Latest) -> tuple[str, str, datetime | None, bool]:
    value = row.in_unit
    words = "" if value is None else f"{value:.4g} {row.channel.unit}".strip()
    return row.channel.name, words, row.last_at, row.silent


def text(view: CardView, zone: str) -> str:
    """The card as plain text, to be kept on a telephone that may have no network."""
    found = view.card
    parts = {
        f"COOLING HAS STOPPED: {found.cryostat.name}, {found.cryostat.place}".rstrip(", "): [
            f"Card of {when(found.at, zone)}. It does not change by itself: get it anew each day."
        ],
        "THE RULE OF THIS CRYOSTAT": [*(view.rule_lines or found.rule.against), found.itself],
        "DO NOT": [f"- {line}" for line in found.donts],
        "CALL, IN THIS ORDER": [_contact_text(row) for row in found.contacts] or [NOBODY],
        "WHAT COMES OFF WHILE IT WARMS": [
            f"- {gas.low_K:g} to {gas.high_K:g} K: {gas.words}" for gas in found.gases
        ],
        "CAUTIONS": [f"{row.code}: {row.text}" for row in found.cautions],
        "WHO DECIDES": [DEFERS],
    }
    return "\n\n".join("\n".join((head, *lines)) for head, lines in parts.items()) + "\n"


NOBODY = "Nobody is on the roster of tonight: call whom the card on the door names."
DEFERS = "Local rules and the person named here decide; this card reminds. Nothing here acts on the machine."


def _contact_text(row: Contact) -> str:
    after = f", after {row.after_min} min" if row.after_min else ""
    instead = f" (instead of {row.instead_of})" if row.instead_of else ""
    return f"- {row.name}{instead}: {row.phone}. {row.may_words}{after}"


@dataclass(frozen=True)
class RecordsView:
    """All that was written down in the nights of a cryostat."""

    cryostat: Cryostat
    rows: Sequence[NightRecord]


@dataclass(frozen=True)
class OrdersView:
    """The numbers and the roster, as a steward alters them."""

    cryostat: Cryostat
    rule: NightRule | None
    roster: NightRoster | None
    of_laboratory: bool
    typed: Mapping[str, str]
    contacts: Sequence[Contact]
    """As typed or stored, and empty lines after them."""
    swaps: Sequence[NightSwap]
    night: date
    nights: Sequence[tuple[str, str]]
    names: Sequence[tuple[str, str]]
    on_call: Sequence[tuple[date, Sequence[Contact]]]
    may_swap: bool
    steward: bool
    trouble: Trouble
    may: Sequence[tuple[str, str]] = tuple(MAY.items())
    itself: Sequence[tuple[str, str]] = tuple(ITSELF.items())
    days: Sequence[tuple[str, str]] = DAYS


def orders(
    session: Session,
    person: Person,
    cryostat: Cryostat,
    zone: str,
    now: datetime,
    trouble: Trouble | None = None,
    contacts: Sequence[Contact] | None = None,
) -> OrdersView:
    """What holds now, or what somebody typed and has to mend."""
    assert cryostat.id is not None
    trouble = trouble or Trouble()
    row = night_orders.rule_of(session, cryostat.id)
    roster = night_orders.roster_of(session, cryostat.id)
    stored = [contact_of(line) for line in roster.contacts] if roster else []
    shown = list(stored if contacts is None else contacts)
    blank = Contact("", "")
    tonight = night_rules.night_of(now, zone)
    nights = [tonight + timedelta(days=number) for number in range(NIGHTS_AHEAD)]
    grade = guards.grade_of(session, person, cryostat)
    return OrdersView(
        cryostat=cryostat,
        rule=row,
        roster=roster,
        of_laboratory=roster is not None and roster.cryostat_id is None,
        typed=trouble.typed if trouble.form == "numbers" else _typed(row),
        contacts=[*shown, *[blank] * min(SPARE, MOST_CONTACTS - len(shown))],
        swaps=night_orders.swaps_from(session, cryostat.id, tonight),
        night=tonight,
        nights=[(day.isoformat(), f"{day:%a} {day.day} {day:%b}") for day in nights],
        names=[(line.name, line.name) for line in stored],
        on_call=[(day, night_orders.on_call(session, cryostat, day)) for day in nights[:7]],
        may_swap=grade >= OPERATE,
        steward=grade >= STEWARD,
        trouble=trouble,
    )


def _typed(row: NightRule | None) -> dict[str, str]:
    """The numbers as a form holds them."""
    found = night_orders.numbers_of(row) if row else Numbers()
    typed = {
        "go_Pa": "" if found.go_Pa is None else show(found.go_Pa, "mbar"),
        "restart_Pa": "" if found.restart_Pa is None else show(found.restart_Pa, "mbar"),
        "longest_stop_s": "" if found.longest_stop_s is None else show(found.longest_stop_s, "min"),
        "restarts_itself": found.restarts_itself,
        "decides": found.decides,
        "words": found.words,
    }
    return typed | {f"dont.{number}": line for number, line in enumerate(found.donts)}
