"""The web application: routes of all slices behind the guards."""

import asyncio
import gc
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from functools import partial
from uuid import uuid4

from fastapi import Depends, FastAPI, Request, Response
from fastapi.staticfiles import StaticFiles
from sqlalchemy.engine import Engine
from starlette.middleware import Middleware

from server import jobs, tables
from server.bookings import (
    account_routes,
    booking_routes,
    clash_routes,
    feeds_routes,
    hold_routes,
    rule_routes,
    sheets_routes,
)
from server.bookings import api as bookings_api
from server.bookings import routes as bookings
from server.calculators import routes as calculators
from server.cautions import oxygen_routes
from server.cautions import routes as cautions
from server.charges import api as charges_api
from server.charges import routes as charges
from server.checklists import api as checklists_api
from server.checklists import list_routes as checklist_lists
from server.checklists import routes as checklists
from server.cooldowns import api as cooldowns_api
from server.cooldowns import (
    channels_routes,
    diagnosis_api,
    diagnosis_routes,
    drift_api,
    drift_routes,
    night_routes,
    picture_routes,
    plots_routes,
    plotted_routes,
    readings_api,
    readings_routes,
    vibration_records_routes,
    vibration_routes,
)
from server.cooldowns import routes as cooldowns
from server.cryostats import api as cryostats_api
from server.cryostats import (
    change_routes,
    cooldown_routes,
    counter_api,
    counter_routes,
    dirt_routes,
    draft_api,
    draft_routes,
    exchange_api,
    exchange_routes,
    instrument_routes,
    part_api,
    part_routes,
    photograph_routes,
    port_api,
    port_routes,
    samples_api,
    samples_routes,
    search_routes,
    window_routes,
    wire_choice_routes,
)
from server.cryostats import routes as cryostats
from server.db import make_engine, now
from server.faults import api as faults_api
from server.faults import routes as faults
from server.files import routes as files
from server.handover import api as handover_api
from server.handover import routes as handover
from server.laboratory import order_routes
from server.laboratory import routes as laboratory
from server.maintenance import api as maintenance_api
from server.maintenance import routes as maintenance
from server.materials import routes as materials
from server.notices import digest
from server.notices import routes as notices
from server.openings import api as openings_api
from server.openings import routes as openings
from server.people import mail_routes
from server.people import routes as people
from server.people.guards import current_person
from server.record import api as record_api
from server.record import routes as record
from server.record import year_routes as record_year
from server.settings import Settings, settings
from server.stock import api as stock_api
from server.stock import move_routes as stock_moves
from server.stock import routes as stock
from server.stock import sheet_routes as stock_sheets
from server.today import api as today_api
from server.today import routes as today
from server.training import routes as training
from server.web import guard, problems, render

PAGES = (
    today,
    notices,
    mail_routes,
    people,
    cautions,
    oxygen_routes,
    calculators,
    materials,
    instrument_routes,
    change_routes,
    draft_routes,
    samples_routes,
    window_routes,
    exchange_routes,
    photograph_routes,
    wire_choice_routes,
    part_routes,
    port_routes,
    dirt_routes,
    counter_routes,
    cooldown_routes,
    search_routes,
    stock,
    stock_moves,
    stock_sheets,
    faults,
    checklists,
    checklist_lists,
    openings,
    picture_routes,
    diagnosis_routes,
    drift_routes,
    plotted_routes,
    cooldowns,
    record,
    record_year,
    handover,
    night_routes,
    plots_routes,
    readings_routes,
    channels_routes,
    vibration_records_routes,
    vibration_routes,
    bookings,
    account_routes,
    charges,
    feeds_routes,
    sheets_routes,
    clash_routes,
    booking_routes,
    hold_routes,
    rule_routes,
    maintenance,
    training,
    cryostats,
)
APIS = (
    maintenance_api,
    cryostats_api,
    exchange_api,
    part_api,
    port_api,
    samples_api,
    draft_api,
    counter_api,
    bookings_api,
    charges_api,
    faults_api,
    checklists_api,
    openings_api,
    cooldowns_api,
    diagnosis_api,
    drift_api,
    stock_api,
    today_api,
    handover_api,
    record_api,
    readings_api,
)
LARGE = ("/photographs", "/readings/files", "/vibration-records")
"""Ends of the addresses to which files are sent."""
MAIL_EVERY_S = 60.0
VENDOR_FILES = ("htmx.min.js",)


def make_app(engine: Engine | None = None, chosen: Settings | None = None) -> FastAPI:
    """The application over `engine`; without one, over the database the settings name."""
    chosen = chosen or settings()
    app = FastAPI(
        title="Coldstead",
        lifespan=_lifespan,
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/v1/openapi.json",
        middleware=[
            Middleware(guard.SecurityHeaders),
            Middleware(guard.OriginGuard),
            Middleware(guard.SizeLimit, limit_bytes=lambda path: _limit_bytes(chosen, path)),
        ],
    )
    app.state.engine = engine or make_engine(chosen.url)
    app.state.settings = chosen
    for module in PAGES:
        app.include_router(module.router, include_in_schema=False)
    # People stand above the laboratory and the files, so these cannot ask for their guard themselves.
    for below in (laboratory, order_routes, files):
        app.include_router(below.router, include_in_schema=False, dependencies=[Depends(current_person)])
    for module in APIS:
        app.include_router(module.router, prefix="/api/v1")
    app.mount("/static", StaticFiles(directory=render.STATIC), name="static")
    app.middleware("http")(_keep_static)
    problems.install(app)
    return app


def _limit_bytes(chosen: Settings, path: str) -> int:
    """How much may be sent to this address: files are larger than anything that is typed."""
    return chosen.upload_limit_bytes if path.endswith(LARGE) else chosen.body_limit_bytes


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    missing = [name for name in VENDOR_FILES if not (render.STATIC / "vendor" / name).is_file()]
    if missing:
        raise RuntimeError(
            f"Installed scripts are missing: {', '.join(missing)}. Run server/install.py again."
        )
    assert tables.metadata.tables
    render.environment()
    gc.collect()
    gc.freeze()
    mail = _mail(app)
    yield
    if mail is not None:
        mail.cancel()
        with suppress(asyncio.CancelledError):
            await mail


def _mail(app: FastAPI) -> asyncio.Task[None] | None:
    """The schedule that hands letters over, where mail is configured."""
    engine, chosen, holder = app.state.engine, app.state.settings, uuid4().hex
    if not chosen.mail_host:
        return None
    work = partial(digest.scheduled, engine, chosen, now, holder)
    return asyncio.create_task(jobs.every(MAIL_EVERY_S, work))


async def _keep_static(request: Request, go_on: Callable[[Request], Awaitable[Response]]) -> Response:
    """A file asked for by its fingerprint never changes."""
    answer = await go_on(request)
    if request.url.path.startswith("/static/") and request.query_params.get("v"):
        answer.headers["Cache-Control"] = "public, max-age=31536000, immutable"
    return answer
