"""Pages of the instruments themselves: all of them, a new one, its description, cooler, grades, state."""

from fastapi import APIRouter, Request, Response

from server.cryostats import beside_views, cooler_form, guards, instrument_views, instruments
from server.cryostats.instruments import About
from server.cryostats.rules import OPERATE, STAGES, STATES
from server.db import ReadSession, WriteSession, now
from server.errors import Conflict, Refused
from server.people.guards import CurrentPerson, Steward
from server.people.service import person as find_person
from server.units import BadNumber, parse_quantity
from server.web.forms import Form, SentForm
from server.web.render import done, render

router = APIRouter()


@router.get("/cryostats")
def index(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """What is in each cryostat, how cold it ought to be, what state it is in."""
    view = instrument_views.index(session, person)
    left_behind = beside_views.left_behind(session, [row.cryostat for row in view.rows])
    return render(request, "cryostats/index.html", view, left_behind=left_behind)


@router.get("/cryostats/new")
def new(request: Request, _steward: Steward) -> Response:
    """An empty description."""
    return render(request, "cryostats/describe.html", instrument_views.describing(None, Form([])))


@router.post("/cryostats")
def make(request: Request, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Enter a new cryostat."""
    try:
        cryostat = instruments.make(session, steward, _about(form), now())
    except (Refused, Conflict) as problem:
        session.rollback()
        refused = Refused(problem.message, problem.fields or {"name": problem.message})
        view = instrument_views.describing(None, form, refused)
        return render(request, "cryostats/describe.html", view, status=problem.status)
    return done(
        request,
        f"/cryostats/{cryostat.slug}",
        f"{cryostat.name} is in the book. Enter what stood in it at the reference cooldown, then its cooler.",
    )


@router.get("/cryostats/{slug}/settings")
def settings(request: Request, slug: str, _steward: Steward, session: ReadSession) -> Response:
    """The description as it is."""
    cryostat = guards.find(session, slug)
    return render(request, "cryostats/describe.html", instrument_views.describing(cryostat, None))


@router.post("/cryostats/{slug}/settings")
def describe(
    request: Request, slug: str, steward: Steward, session: WriteSession, form: SentForm
) -> Response:
    """Store a description."""
    cryostat = guards.find(session, slug, lock=True)
    try:
        instruments.describe(session, steward, cryostat, _about(form), now())
    except Refused as refused:
        session.rollback()
        view = instrument_views.describing(guards.find(session, slug), form, refused)
        return render(request, "cryostats/describe.html", view, status=422)
    return done(request, f"/cryostats/{slug}", "Description stored.")


def _named(field: str) -> str:
    return field.removeprefix("limit.").removesuffix("_K").capitalize()


def _about(form: Form) -> About:
    found: dict[str, str] = {}

    def kelvin(name: str, otherwise: float | None) -> float | None:
        if not form.text(name):
            return otherwise
        try:
            value = parse_quantity(form.text(name), "K", "K")
        except BadNumber as bad:
            found[name] = f"{_named(name)}: {bad}"
            return None
        if not isinstance(value, float):
            found[name] = f"{_named(name)}: enter one temperature such as 3.6 K"
        return value if isinstance(value, float) else None

    stages = ("vessel", *(stage for stage in STAGES[1:] if stage in form.all("stages")))
    limits = {stage: kelvin(f"limit.{stage}", None) for stage in stages[1:]}
    vessel_K = kelvin("vessel_K", 295.0)
    if found:
        raise Refused("The cryostat was not stored.", found)
    return About(
        name=form.text("name"),
        place=form.text("place"),
        stages=stages,
        limits_K={stage: limit_K for stage, limit_K in limits.items() if limit_K is not None},
        vessel_K=vessel_K or 295.0,
    )


@router.get("/cryostats/{slug}/cooler")
def cooler(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """The cooler's versions, and for the steward a form for the next."""
    view = instrument_views.cooler(session, person, guards.find(session, slug), None)
    return render(request, "cryostats/cooler.html", view)


@router.post("/cryostats/{slug}/cooler")
def measure(request: Request, slug: str, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Enter the cooler as it was measured."""
    cryostat = guards.find(session, slug, lock=True)
    try:
        data = cooler_form.read(form)
        row = instruments.measure_cooler(
            session, steward, cryostat, data, form.whole("bare_revision"), form.text("note"), now()
        )
    except Refused as refused:
        session.rollback()
        view = instrument_views.cooler(session, steward, guards.find(session, slug), form, refused)
        return render(request, "cryostats/cooler.html", view, status=422)
    return done(
        request,
        f"/cryostats/{slug}",
        f"Cooler version {row.number} entered; the budget was computed with it.",
    )


@router.get("/cryostats/{slug}/grades")
def grades(request: Request, slug: str, person: CurrentPerson, session: ReadSession) -> Response:
    """Who may do what here."""
    return render(
        request, "cryostats/grades.html", instrument_views.grades(session, person, guards.find(session, slug))
    )


@router.post("/cryostats/{slug}/grades")
def give(request: Request, slug: str, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Give one person a grade."""
    cryostat = guards.find(session, slug, lock=True)
    wanted = find_person(session, form.whole("person") or 0)
    grade = form.whole("grade")
    instruments.give_grade(session, steward, cryostat, wanted, -1 if grade is None else grade, now())
    return done(request, f"/cryostats/{slug}/grades", f"{wanted.name} now has grade {grade} here.")


@router.post("/cryostats/{slug}/state")
def enter_state(
    request: Request, slug: str, person: CurrentPerson, session: WriteSession, form: SentForm
) -> Response:
    """Write down what state it is in."""
    cryostat = guards.find(session, slug)
    guards.need(session, person, cryostat, OPERATE)
    at = now()
    since = form.moment("since", request.state.laboratory.zone) or at
    row = instruments.enter_state(session, person, cryostat, form.text("state"), since, form.text("note"), at)
    return done(request, f"/cryostats/{slug}", f"State entered: {STATES[row.state]}.")


@router.get("/cryostats/{slug}/history")
def history(request: Request, slug: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """Who did what to it, and when."""
    view = instrument_views.record(session, guards.find(session, slug))
    return render(request, "cryostats/history.html", view, entries=view.entries)
