"""What people type in the stock room, read once. Every fault of a form is told at once."""

from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from typing import TypeVar

from server.errors import Refused
from server.stock.lending import Lending
from server.stock.models import NOTHING, Item
from server.stock.moving import Receipt
from server.stock.rules import BadAmount, read_amount
from server.stock.service import NOT_STORED, Taking
from server.stock.spec import NAMES
from server.web.forms import Form

LONGEST_REASON = 500
LONGEST_CODE = 60
LONGEST_ONCE = 64
WRITTEN = ("%Y-%m-%d", "%d %b %Y", "%d %B %Y")
T = TypeVar("T")


def day(text: str) -> date | None:
    """A day as typed; None for what is none."""
    for written in WRITTEN:
        try:
            return datetime.strptime(text, written).date()  # noqa: DTZ007 a day has no zone
        except ValueError:
            continue
    return None


class Reader:
    """Reads the fields of one form and gathers what is to be mended."""

    def __init__(self, form: Form) -> None:
        self.form = form
        self.faults: dict[str, str] = {}

    def amount(self, name: str, unit: str, *, least: Decimal | None = None) -> Decimal:
        """An amount, above `least` where there is one."""
        try:
            made = read_amount(self.form.text(name), unit)
        except BadAmount as bad:
            self.faults[name] = str(bad)
            return NOTHING
        if least is not None and made <= least:
            self.faults[name] = f"Enter an amount above {least}"
        return made

    def maybe_amount(self, name: str) -> Decimal | None:
        """An amount, or None where nothing stands."""
        return self.amount(name, "") if self.form.text(name) else None

    def day(self, name: str) -> date | None:
        """A day, or None where nothing stands."""
        text = self.form.text(name)
        found = day(text)
        if text and found is None:
            self.faults[name] = "Enter a day such as 2027-03-01 or 1 Mar 2027"
        return found

    def whole(self, name: str) -> int | None:
        """A whole number, or None where nothing stands."""
        return self.tried(lambda: self.form.whole(name))

    def moment(self, name: str, zone: str) -> datetime | None:
        """A day and clock, or None where nothing stands."""
        return self.tried(lambda: self.form.moment(name, zone))

    def tried(self, read: Callable[[], T]) -> T | None:
        """What `read` gives; what it refuses is gathered."""
        try:
            return read()
        except Refused as refused:
            self.faults |= refused.fields
            return None

    def line(self, name: str, longest: int = LONGEST_REASON) -> str:
        """A text of bounded length."""
        text = self.form.text(name)
        if len(text) > longest:
            self.faults[name] = f"Write at most {longest} letters"
        return text

    def once(self) -> str | None:
        """The number of the form, by which one press counts once."""
        return self.form.text("once")[:LONGEST_ONCE] or None

    def done(self) -> None:
        """Refused when anything is to be mended."""
        if self.faults:
            raise Refused(NOT_STORED, self.faults)


def taking(form: Form, item: Item) -> Taking:
    """Something used or thrown away."""
    read = Reader(form)
    assert item.id is not None
    made = Taking(
        item_id=item.id,
        amount=read.amount("amount", item.unit, least=NOTHING),
        because=read.line("because"),
        lot_id=read.whole("lot"),
        reservation_id=read.whole("reservation"),
        beyond=form.has("beyond"),
        once=read.once(),
    )
    read.done()
    return made


def receipt(form: Form, item: Item) -> Receipt:
    """Something that came."""
    read = Reader(form)
    assert item.id is not None
    containers = read.whole("containers")
    made = Receipt(
        item_id=item.id,
        amount=read.amount("amount", item.unit, least=NOTHING),
        containers=1 if containers is None else containers,
        sealed=form.has("sealed"),
        code=read.line("code", LONGEST_CODE),
        place=read.line("place", LONGEST_CODE),
        expires_on=read.day("expires_on"),
        cured_on=read.day("cured_on"),
        price=read.maybe_amount("price"),
        because=read.line("because"),
        once=read.once(),
    )
    read.done()
    return made


def lending(form: Form, item: Item) -> Lending:
    """Something lent."""
    read = Reader(form)
    assert item.id is not None
    made = Lending(
        item_id=item.id,
        amount=read.amount("amount", item.unit, least=NOTHING),
        borrower=read.line("borrower"),
        due_on=read.day("due_on"),
        lot_id=read.whole("lot"),
        because=read.line("because"),
        once=read.once(),
    )
    read.done()
    return made


def spec_texts(form: Form) -> dict[str, str]:
    """The fields of an item as typed; codes of cautions are ticked."""
    texts = {name: form.text(name) for name in NAMES}
    texts["cautions"] = " ".join(form.all("cautions"))
    for name in ("stops_work", "retired"):
        texts[name] = "yes" if form.has(name) else "no"
    return texts
