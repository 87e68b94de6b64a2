"""Stock: items, lots, movements, reservations."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """The tables of the stock room; the database refuses to rewrite a movement. Amounts are thousandths."""
    op.create_table(
        "stock_item",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("specification", sa.String(), nullable=False),
        sa.Column("unit", sa.String(), nullable=False),
        sa.Column("bin_code", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("storage", sa.String(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.Column("hazard", sa.String(), nullable=False),
        sa.Column("allowed", sa.JSON(), nullable=False),
        sa.Column("forbidden", sa.JSON(), nullable=False),
        sa.Column("elsewhere", sa.String(), nullable=False),
        sa.Column("stops_work", sa.Boolean(), nullable=False),
        sa.Column("floor", sa.BigInteger(), nullable=False),
        sa.Column("floor_sealed", sa.Integer(), nullable=False),
        sa.Column("full", sa.BigInteger(), nullable=True),
        sa.Column("per_opening", sa.BigInteger(), nullable=True),
        sa.Column("drawn_by", sa.String(), nullable=False),
        sa.Column("expected_yearly", sa.BigInteger(), nullable=True),
        sa.Column("lead_days", sa.Integer(), nullable=True),
        sa.Column("price", sa.BigInteger(), nullable=True),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("shelf_days", sa.Integer(), nullable=True),
        sa.Column("open_days", sa.Integer(), nullable=True),
        sa.Column("take_grade", sa.Integer(), nullable=False),
        sa.Column("recount_share", sa.Float(), nullable=False),
        sa.Column("service_level", sa.Float(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_item")),
        sa.UniqueConstraint("key", name=op.f("uq_stock_item_key")),
    )
    op.create_table(
        "stock_lot",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("received_on", sa.Date(), nullable=False),
        sa.Column("opened_on", sa.Date(), nullable=True),
        sa.Column("expires_on", sa.Date(), nullable=True),
        sa.Column("cured_on", sa.Date(), nullable=True),
        sa.Column("sealed", sa.Boolean(), nullable=False),
        sa.Column("on_hand", sa.BigInteger(), nullable=False),
        sa.Column("counted_at", db.UTC(), nullable=True),
        sa.Column("recount_since", db.UTC(), nullable=True),
        sa.Column("recount_why", sa.String(), nullable=False),
        _belongs("stock_lot", "item_id", "stock_item"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_lot")),
    )
    _index("stock_lot", "on_hand")
    _index("stock_lot", "recount_since")
    op.create_index("ix_stock_lot_item", "stock_lot", ["item_id", "id"])
    op.create_table(
        "stock_loan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("borrower", sa.String(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("outstanding", sa.BigInteger(), nullable=False),
        sa.Column("lent_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("ended_at", db.UTC(), nullable=True),
        _belongs("stock_loan", "item_id", "stock_item"),
        _belongs("stock_loan", "lot_id", "stock_lot"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_loan")),
    )
    _index("stock_loan", "item_id")
    _index("stock_loan", "ended_at")
    op.create_table(
        "stock_reservation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("left", sa.BigInteger(), nullable=False),
        sa.Column("until", db.UTC(), nullable=False),
        sa.Column("what_for", sa.String(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.Column("ended_at", db.UTC(), nullable=True),
        _belongs("stock_reservation", "item_id", "stock_item"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_reservation")),
    )
    _index("stock_reservation", "item_id")
    _index("stock_reservation", "ended_at")
    op.create_table(
        "stock_order",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("left", sa.BigInteger(), nullable=False),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("ordered_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("ended_at", db.UTC(), nullable=True),
        _belongs("stock_order", "item_id", "stock_item"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_order")),
    )
    _index("stock_order", "item_id")
    _index("stock_order", "ended_at")
    op.create_table(
        "stock_movement",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("lot_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("change", sa.BigInteger(), nullable=False),
        sa.Column("found", sa.BigInteger(), nullable=True),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("loan_id", sa.Integer(), nullable=True),
        sa.Column("reservation_id", sa.Integer(), nullable=True),
        sa.Column("because", sa.String(), nullable=False),
        sa.Column("once", sa.String(), nullable=True),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        _belongs("stock_movement", "item_id", "stock_item"),
        _belongs("stock_movement", "lot_id", "stock_lot"),
        _belongs("stock_movement", "corrects", "stock_movement"),
        _belongs("stock_movement", "loan_id", "stock_loan"),
        _belongs("stock_movement", "reservation_id", "stock_reservation"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock_movement")),
        sa.UniqueConstraint("once", name=op.f("uq_stock_movement_once")),
    )
    for column in ("lot_id", "corrects", "loan_id", "at"):
        _index("stock_movement", column)
    op.create_index("ix_stock_movement_item", "stock_movement", ["item_id", "id"])
    op.create_table(
        "stock_demand",
        sa.Column("item_id", sa.Integer(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.Column("taken", sa.BigInteger(), nullable=False),
        sa.Column("recorded", sa.BigInteger(), nullable=False),
        sa.Column("squares", sa.Float(), nullable=False),
        sa.Column("takings", sa.Integer(), nullable=False),
        _belongs("stock_demand", "item_id", "stock_item"),
        sa.PrimaryKeyConstraint("item_id", "month", name=op.f("pk_stock_demand")),
    )
    for statement in db.append_only_sql(op.get_bind().dialect.name, "stock_movement"):
        op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their table."""
    for table in ("demand", "movement", "order", "reservation", "loan", "lot", "item"):
        op.drop_table(f"stock_{table}")


def _belongs(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))


def _index(table: str, column: str) -> None:
    op.create_index(op.f(f"ix_{table}_{column}"), table, [column])
