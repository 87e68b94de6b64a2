"""Sheets: counting, ordering, labels, lists in and out, and the first set."""

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Forbidden, NotFound, Refused
from server.files.uploads import SentUpload
from server.people.guards import CurrentPerson, Steward
from server.stock import (
    board,
    counting,
    exchange,
    forms,
    guards,
    labels,
    posting,
    sheet_views,
    starter,
    views,
)
from server.stock.columns import orders as orders_text
from server.stock.routes import once
from server.web.forms import SentForm
from server.web.render import done, render
from server.web.tabular import STYLES, Unreadable, decoded

router = APIRouter(prefix="/stock")
COUNT, STARTER, EXCHANGE = "stock/count.html", "stock/starter.html", "stock/exchange.html"
Word = Annotated[str, Query(max_length=60)]
Keys = Annotated[list[str] | None, Query(max_length=500)]


@router.get("/count")
def count(
    request: Request, person: CurrentPerson, session: ReadSession, which: Word = "", item: Word = ""
) -> Response:
    """A sheet of things to count."""
    view = sheet_views.count(session, person, now(), once(), which, item)
    return render(request, COUNT, view)


@router.post("/count")
def write_counts(request: Request, person: CurrentPerson, session: WriteSession, form: SentForm) -> Response:
    """Write down what was counted on one sheet."""
    if not guards.may_move(session, person):
        raise Forbidden("To count needs grade 1 (operate) on a cryostat. Ask the steward.")
    number, at = forms.Reader(form).once(), now()
    if posting.sent_before(session, number):
        return done(request, "/stock", "That sheet was stored already; nothing was written twice.")
    typed = {name: text for name, text in form.under("").items() if name.startswith(("lot.", "item."))}
    try:
        rows = counting.write(session, person, typed, at, number)
    except Refused as refused:
        session.rollback()
        view = sheet_views.count(
            session, person, at, once(), form.text("which"), form.text("key"), typed, refused.fields
        )
        return render(request, COUNT, view, status=422)
    again = sum(row.again for row in rows)
    if again:
        line = f"{len(rows)} counted. {again} far from the book: count again."
        return done(request, "/stock/count?which=again", line)
    return done(request, "/stock", f"{len(rows)} counted.")


@router.get("/orders")
def orders(request: Request, person: CurrentPerson, session: ReadSession) -> Response:
    """What to order."""
    return render(request, "stock/orders.html", views.orders(session, person, now()))


@router.get("/orders.csv")
def orders_csv(person: CurrentPerson, session: ReadSession, style: Word = "comma") -> Response:
    """What to order, for a spreadsheet."""
    view = views.orders(session, person, now())
    return _file(
        "orders.csv", orders_text([(row.item, row.raw, row.why) for row in view.rows], _style(style))
    )


@router.get("/items.csv")
def items_csv(_person: CurrentPerson, session: ReadSession, style: Word = "comma") -> Response:
    """Every item, for a spreadsheet."""
    return _file("items.csv", exchange.items_text(session, _style(style)))


@router.get("/movements.csv")
def movements_csv(
    _person: CurrentPerson, session: ReadSession, style: Word = "comma", item: Word = ""
) -> Response:
    """Every movement, or those of one item, for a spreadsheet."""
    chosen = board.find(session, item) if item else None
    return _file("movements.csv", exchange.movements_text(session, _style(style), chosen))


def _style(name: str) -> str:
    if name not in STYLES:
        raise NotFound(f"A list is separated by {', '.join(STYLES)}.")
    return name


def _file(name: str, text: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/exchange")
def exchange_page(request: Request, person: CurrentPerson) -> Response:
    """Lists in and out."""
    return render(request, EXCHANGE, sheet_views.exchange(person))


@router.post("/exchange")
def bring(request: Request, steward: Steward, session: WriteSession, sent: SentUpload) -> Response:
    """Take a list of items, whole or not at all."""
    text = sent.form.text("table")
    try:
        files = sent.under("file")
        text = _decoded(files[0].content) if files else text
        taken = exchange.bring(session, steward, text, now())
    except Refused as refused:
        session.rollback()
        return render(request, EXCHANGE, sheet_views.exchange(steward, text, refused.fields), status=422)
    line = f"{taken.entered} entered, {taken.altered} altered, {taken.amounts} amounts set."
    return done(request, "/stock", line)


def _decoded(content: bytes) -> str:
    try:
        return decoded(content)
    except Unreadable as unreadable:
        raise Refused("Nothing was stored.", {f"line {unreadable.line}": str(unreadable)}) from None


@router.get("/starter")
def first_set(request: Request, _steward: Steward, session: ReadSession) -> Response:
    """The first set, to be ticked."""
    return render(request, STARTER, sheet_views.first_set(session))


@router.post("/starter")
def lay_out(request: Request, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Lay out what was ticked of the first set."""
    try:
        rows = starter.lay_out(session, steward, form.all("key"), now())
    except Refused as refused:
        session.rollback()
        view = sheet_views.first_set(session, form.all("key"), refused.fields)
        return render(request, STARTER, view, status=422)
    return done(request, "/stock/count?which=all", f"{len(rows)} items laid out. Count what there is.")


@router.get("/labels")
def label_sheet(
    request: Request, _person: CurrentPerson, session: ReadSession, item: Keys = None
) -> Response:
    """Labels to print."""
    return render(request, "stock/labels.html", sheet_views.labels(session, item or ()))


@router.get("/items/{key}/label.svg")
def label(request: Request, key: str, _person: CurrentPerson, session: ReadSession) -> Response:
    """The square code that opens the item."""
    item = board.find(session, key)
    drawing = labels.svg(f"{request.base_url}stock/items/{item.key}")
    return Response(drawing, media_type="image/svg+xml", headers={"Cache-Control": "no-store"})
