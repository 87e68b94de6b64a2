"""The laboratory: one row in the database."""

from datetime import time

import sqlalchemy as sa
from sqlmodel import Field

from server.db import Row


class Laboratory(Row, table=True):
    """Name, zone and working time of the one laboratory these books are for."""

    __tablename__ = "laboratory"
    __table_args__ = (sa.CheckConstraint("id = 1", name="only_one"),)

    id: int = Field(default=1, primary_key=True)
    name: str
    zone: str = "UTC"
    working_days: str = "01234"
    """Digits of the days worked, Monday 0 to Sunday 6."""
    country: str = Field(default="", sa_column_kwargs={"server_default": ""})
    """Whose public holidays are kept, as `AT` or `AT-9`; empty where none count."""
    opens: time = time(8)
    closes: time = time(19)
