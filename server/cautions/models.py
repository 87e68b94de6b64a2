"""The safety cards: words of the program, and what the laboratory adds."""

from datetime import date

from sqlmodel import Field

from server.db import Row


class Card(Row, table=True):
    """One caution. `title`, `words` and `places` come with the program; the rest is the laboratory's."""

    __tablename__ = "caution_card"

    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(unique=True)
    """`S01` … `S20`."""
    title: str
    words: str
    places: str
    """Where the printed card belongs."""
    local_text: str = ""
    owner: str = ""
    review_on: date | None = None

    @property
    def text(self) -> str:
        """The words of the card, and after them the laboratory's own."""
        return f"{self.words} Here: {self.local_text}" if self.local_text else self.words
