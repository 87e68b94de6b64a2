"""What is going on with a cryostat: people, faults, drafts, bookings, maintenance, training, lists."""

from collections.abc import Sequence

from sqlmodel import Session, col, func, select

from server.bookings import holds, ruling
from server.bookings.holds import KINDS as HOLDS
from server.bookings.models import Booking, Hold, Occupancy
from server.bookings.numbers import NUMBERS, Number, Numbers
from server.bookings.numbers import WORDS as NO_UNIT
from server.bookings.writing import PLACELESS, WORDS
from server.checklists import lists
from server.checklists.own_words import LISTS
from server.cryostats import counters, drafts, guards
from server.cryostats.counter_rules import COUNTERS, walked
from server.cryostats.draft_models import Draft, DraftStep
from server.cryostats.draft_rules import BUILT, WITHDRAWN
from server.cryostats.models import Cryostat
from server.cryostats.rules import GRADES
from server.faults.causes import CAUSES
from server.faults.models import Fault, FaultEntry
from server.faults.rules import SEVERITIES, STATES, STILL_OPEN
from server.handover.rules import NOTHING, Chapter, Clock
from server.maintenance import due
from server.maintenance import rules as maintenance
from server.maintenance.due import Due
from server.maintenance.models import TaskEntry
from server.maintenance.views import name_of, spoken
from server.people.models import Person
from server.record.rules import Section
from server.training import service as training


def people(
    session: Session, cryostat: Cryostat, grades: Sequence[tuple[Person, int]], clock: Clock
) -> Chapter:
    """Who may do what here, who is being trained, whose grade lapses."""
    given = tuple(
        (person.name, "steward" if person.steward else GRADES[grade], "" if person.active else "has left")
        for person, grade in grades
        if person.steward or grade
    )
    rows = training.of_cryostat(session, cryostat)
    open_ones = tuple(
        (
            row.person_name,
            GRADES[row.grade],
            row.mentor,
            row.next_what,
            row.next_on.isoformat() if row.next_on else "",
        )
        for row in rows
        if row.signed_at is None
    )
    lapses = tuple(
        (
            row.person.name,
            GRADES[row.grade],
            "lapsed" if row.lapsed else "lapses",
            clock.day(row.lapses_at),
            row.next_step,
        )
        for row in training.lapsing(session, clock.now, cryostat.id)
    )
    return Chapter(
        "people",
        "Who may do what",
        (
            Section("Grades", ("Person", "Grade", "Remark"), given, "Nobody has a grade here."),
            Section("In training", ("Person", "Towards", "Mentor", "Next step", "On"), open_ones, NOTHING),
            Section(
                "Grades that lapse",
                ("Person", "Grade", "How it stands", "Day", "What to do"),
                lapses,
                NOTHING,
            ),
        ),
    )


def faults(session: Session, cryostat_id: int | None, clock: Clock) -> Chapter:
    """Those not over, each with every entry; with None those of no cryostat. Two queries."""
    query = select(Fault).where(Fault.cryostat_id == cryostat_id, col(Fault.state).in_(STILL_OPEN))
    rows = session.exec(query.order_by(col(Fault.id).desc())).all()
    said = select(FaultEntry).where(col(FaultEntry.fault_id).in_([row.id for row in rows]))
    heads = tuple(
        (
            f"Fault {row.id}",
            row.what_seen,
            ", ".join(text for text in (row.place, row.part, row.element_key) if text),
            SEVERITIES[row.severity],
            STATES[row.state],
            row.owner_name or "nobody",
            CAUSES.get(row.cause, ""),
            f"{clock.when(row.seen_at)}, {row.by_name}",
        )
        for row in rows
    )
    entries = tuple(
        (f"Fault {row.fault_id}", clock.when(row.at), STATES[row.state], row.text, row.by_name)
        for row in session.exec(said.order_by(col(FaultEntry.fault_id), col(FaultEntry.id))).all()
    )
    head = ("Fault", "What was seen", "Where", "Weight", "Where it stands", "Whose", "Cause", "Seen")
    return Chapter(
        "faults",
        "Open faults",
        (
            Section("Faults not over", head, heads, "No fault is open."),
            Section(
                "What was written about them",
                ("Fault", "When", "From then on", "Words", "By"),
                entries,
                NOTHING,
            ),
        ),
    )


def drafts_open(session: Session, cryostat: Cryostat, clock: Clock) -> Chapter:
    """Drafts neither built nor withdrawn."""
    over = select(DraftStep.draft_id).where(
        col(DraftStep.what).in_((BUILT, WITHDRAWN)), DraftStep.version == Draft.version
    )
    query = select(Draft).where(Draft.cryostat_id == cryostat.id, col(Draft.id).not_in(over.correlate(Draft)))
    sheets = [
        drafts.sheet(session, cryostat, row, clock.now)
        for row in session.exec(query.order_by(col(Draft.id))).all()
    ]
    rows = tuple(
        (
            f"Draft {row.draft.id}: {row.draft.name}",
            row.standing.words,
            str(row.version.number),
            str(row.version.base_revision),
            f"{len(row.version.put)} in, {len(row.version.remove)} out",
            row.version.reason,
            row.standing.build_on.isoformat() if row.standing.build_on else "",
            row.draft.by_name,
        )
        for row in sheets
    )
    head = ("Draft", "Where it stands", "Version", "On revision", "Changes", "Why", "To go in on", "By")
    return Chapter("drafts", "Open drafts", (Section("Drafts not over", head, rows, NOTHING),))


def plan(session: Session, cryostat: Cryostat, clock: Clock) -> Chapter:
    """Bookings ahead, those that wait, holds, and the rules as they hold here."""
    query = (
        select(Booking, Occupancy)
        .join(Occupancy, col(Occupancy.id) == Booking.occupancy_id, isouter=True)
        .where(Booking.cryostat_id == cryostat.id)
        .where((col(Occupancy.ends) > clock.now) | col(Booking.state).in_(PLACELESS))
    )
    rows = tuple(_booking(*row, clock) for row in session.exec(query.order_by(col(Occupancy.starts))).all())
    head = ("From", "To", "Cold from", "Cold to", "Whose", "Group", "Purpose", "Needs inside", "State")
    return Chapter(
        "plan",
        "Bookings, holds and their rules",
        (
            Section("Bookings ahead", head, rows, "Nobody has it booked."),
            _holds(holds.of_cryostat(session, cryostat, clock.now), clock),
            rules(ruling.numbers_of(session, cryostat.slug)),
        ),
    )


def _booking(row: Booking, place: Occupancy | None, clock: Clock) -> tuple[str, ...]:
    return (
        clock.when(place.starts) if place else "",
        clock.when(place.ends) if place else "",
        clock.when(row.window_starts),
        clock.when(row.window_ends),
        row.owner_name + (f", helped by {row.helper_name}" if row.helper_name else ""),
        row.group_name,
        row.purpose + (f" (hazards: {row.hazards})" if row.hazards else ""),
        row.configuration.replace(":", " "),
        WORDS[row.state],
    )


def _holds(rows: Sequence[Hold], clock: Clock) -> Section:
    told = tuple(
        (
            HOLDS[row.kind],
            row.reason,
            row.condition,
            clock.when(row.starts),
            clock.when(row.ends),
            "soft" if row.soft else "",
            row.by_name,
        )
        for row in rows
    )
    head = ("Hold", "Why", "Ends when", "From", "Expected to end", "Takes time", "By")
    return Section("Holds", head, told, "Nothing is held.")


def rules(found: Numbers) -> Section:
    """The numbers of the booking rules as they hold somewhere."""
    rows = tuple(
        (row.words, _said(row, found), "set here or by the laboratory" if key in found.set else "default")
        for key, row in NUMBERS.items()
    )
    return Section("Rules of bookings", ("Rule", "Holds", "From"), rows)


def _said(row: Number, found: Numbers) -> str:
    value = row.choices.get(found.text(row.key), found.text(row.key)) or "none"
    return value if row.unit == NO_UNIT else f"{value} {row.unit}".strip()


def maintenance_of(session: Session, cryostat: Cryostat, found: Sequence[Due], clock: Clock) -> Chapter:
    """Tasks with their dates, certificates and drills, what was put off, counters."""
    keys = [row.task.id for row in found]
    last = _last_done(session, keys, clock)
    tasks = tuple(_task(row, last, clock) for row in found)
    head = (
        "Task",
        "Kind",
        "How it stands",
        "Due",
        "Why",
        "Last done",
        "Who",
        "How it is done",
        "Parts",
        "Order by",
    )
    return Chapter(
        "maintenance",
        "Maintenance, certificates and counters",
        (
            Section("Tasks", head, tasks, "No task is laid out."),
            _put_off(session, {row.task.id: row.task.name for row in found}, clock),
            _counters(session, cryostat, clock),
        ),
    )


def _task(row: Due, last: dict[int | None, str], clock: Clock) -> tuple[str, ...]:
    task = row.task
    return (
        task.name,
        maintenance.KINDS[task.kind],
        maintenance.STATES[row.state],
        spoken(row.dates, clock.zone),
        row.why,
        last.get(task.id, "not in this book"),
        task.who,
        task.text,
        "; ".join(f"{need.amount:g} {need.unit} {need.name}" for need in row.needs),
        row.order_by.isoformat() if row.order_by else "",
    )


def _last_done(session: Session, keys: Sequence[int | None], clock: Clock) -> dict[int | None, str]:
    query = select(TaskEntry.task_id, func.max(TaskEntry.at)).where(
        col(TaskEntry.task_id).in_(keys), TaskEntry.kind == maintenance.DONE
    )
    return {key: clock.day(at) for key, at in session.exec(query.group_by(col(TaskEntry.task_id))).all()}


def _put_off(session: Session, names: dict[int | None, str], clock: Clock) -> Section:
    """The newest fifty; every earlier one stands on the page of its task."""
    query = select(TaskEntry).where(col(TaskEntry.task_id).in_(names), TaskEntry.kind == maintenance.DEFERRED)
    rows = tuple(
        (names[row.task_id], _clock(row), row.text, row.by_name, clock.day(row.at))
        for row in session.exec(query.order_by(col(TaskEntry.id).desc()).limit(50)).all()
    )
    return Section("What was put off", ("Task", "Limit", "Why", "By", "On"), rows, "Nothing was put off.")


def _clock(row: TaskEntry) -> str:
    trigger = str(row.data.get("trigger", ""))
    return name_of(trigger) if trigger else ""


def _counters(session: Session, cryostat: Cryostat, clock: Clock) -> Section:
    rows = []
    for key, entries in counters.entries(session, cryostat).items():
        found = walked(entries)
        if found:
            last = found[-1]
            about = COUNTERS[key]
            rows.append(
                (
                    about.label,
                    f"{last.total:g} {about.unit}".strip(),
                    clock.when(last.entry.at),
                    last.entry.by_name,
                )
            )
    return Section("Counters", ("Counter", "Stands at", "Read", "By"), tuple(rows), "Nothing was read yet.")


def due_tasks(session: Session, cryostat: Cryostat, clock: Clock) -> list[Due]:
    """Every task of the cryostat in the order of what stops work."""
    return due.due(session, clock.now, cryostat.id)


def wording(session: Session, cryostat: Cryostat, clock: Clock) -> Chapter:
    """Every list as it is worded now."""
    sections = []
    for key, about in LISTS.items():
        version = lists.newest(session, cryostat, key)
        rows = tuple(
            (
                str(number),
                line.text,
                line.why,
                "holds work back until done" if line.gate else "",
                "yes" if line.second else "",
            )
            for number, line in enumerate(lists.lines_of(version), 1)
        )
        title = f"{about.title}, version {version.number}, {clock.day(version.at)}, {version.by_name}"
        sections.append(Section(title, ("Line", "Words", "Why", "Gate", "Second person"), rows))
    return Chapter("lists", "The lists as they are worded", tuple(sections))


def grade_rows(session: Session, cryostat: Cryostat) -> list[tuple[Person, int]]:
    """Everybody with an account, with their grade here."""
    return guards.grade_rows(session, cryostat)
