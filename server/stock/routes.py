"""Pages of the stock room: the list, what is out, and the items themselves."""

from typing import Annotated
from uuid import uuid4

from fastapi import APIRouter, Query, Request, Response

from server.db import ReadSession, WriteSession, now
from server.errors import Refused
from server.people.guards import CurrentPerson, Steward
from server.stock import board, forms, item_views, items, spec, views
from server.web.forms import SentForm
from server.web.render import done, render

router = APIRouter(prefix="/stock")
ITEM, FORM = "stock/item.html", "stock/form.html"
Before = Annotated[int | None, Query(ge=1, le=2**31 - 1)]
Word = Annotated[str, Query(max_length=100)]


def once() -> str:
    """The number of a fresh form."""
    return uuid4().hex


@router.get("")
def index(
    request: Request, person: CurrentPerson, session: ReadSession, q: Word = "", show: Word = ""
) -> Response:
    """All items."""
    view = views.index(session, person, now(), q, show)
    return render(request, "stock/index.html", view)


@router.get("/loans")
def loans(request: Request, _person: CurrentPerson, session: ReadSession) -> Response:
    """Everything that is out."""
    return render(request, "stock/loans.html", views.loans(session, now()))


@router.get("/items/new")
def begin(request: Request, _steward: Steward) -> Response:
    """The empty form of an item."""
    return render(request, FORM, item_views.form())


@router.post("/items")
def add(request: Request, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Enter an item."""
    texts = forms.spec_texts(form)
    try:
        wanted, wrong = spec.read(texts)
        if wrong:
            raise Refused("The item was not stored.", wrong)
        row = items.add(session, steward, wanted, now())
    except Refused as refused:
        session.rollback()
        return render(request, FORM, item_views.form(None, texts, refused.fields), status=422)
    return done(request, f"/stock/items/{row.key}", f"{row.name} entered.")


@router.get("/items/{key}")
def show(
    request: Request,
    key: str,
    person: CurrentPerson,
    session: ReadSession,
    do: Word = "used",
    before: Before = None,
) -> Response:
    """One item: how it stands, what to mind, and the form of one thing to do."""
    item = board.find(session, key)
    asked = item_views.Asked(do)
    return render(request, ITEM, item_views.show(session, person, item, now(), once(), asked, before))


@router.get("/items/{key}/edit")
def begin_edit(request: Request, key: str, _steward: Steward, session: ReadSession) -> Response:
    """The form of what is said of an item."""
    return render(request, FORM, item_views.form(board.find(session, key)))


@router.post("/items/{key}/edit")
def edit(request: Request, key: str, steward: Steward, session: WriteSession, form: SentForm) -> Response:
    """Store what is said of an item."""
    texts = forms.spec_texts(form) | {"key": key}
    try:
        wanted, wrong = spec.read(texts)
        if wrong:
            raise Refused("The item was not stored.", wrong)
        row = items.alter(session, steward, key, wanted, form.whole("version"), now())
    except Refused as refused:
        session.rollback()
        view = item_views.form(board.find(session, key), texts, refused.fields)
        return render(request, FORM, view, status=422)
    return done(request, f"/stock/items/{key}", f"{row.name} altered.")
