"""Accounts of groups, rates by day, charge lines and what was said about them."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None

TABLES = ("booking_account", "charge_rate", "charge_line", "charge_entry")


def _who() -> tuple[sa.Column, ...]:  # type: ignore[type-arg]
    return (
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
    )


def upgrade() -> None:
    """New tables, and the database's own refusal to rewrite what is written once."""
    _accounts_and_rates()
    _lines()
    dialect = op.get_bind().dialect.name
    for table in TABLES:
        for statement in db.append_only_sql(dialect, table, ()):
            op.execute(sa.text(statement.replace(":", "\\:")))


def _accounts_and_rates() -> None:
    op.create_table(
        "booking_account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("group_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        *_who(),
        sa.ForeignKeyConstraint(
            ["group_id"], ["booking_group.id"], name=op.f("fk_booking_account_group_id_booking_group")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_account")),
    )
    op.create_index("ix_booking_account_of_group", "booking_account", ["group_id", "id"])
    op.create_table(
        "charge_rate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("group_kind", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("cents_per_hour", sa.Integer(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("from_day", sa.Date(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        *_who(),
        sa.CheckConstraint("cents_per_hour >= 0", name=op.f("ck_charge_rate_cents")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_charge_rate")),
    )
    op.create_index("ix_charge_rate_of_kind", "charge_rate", ["group_kind", "what", "from_day"])


def _lines() -> None:
    op.create_table(
        "charge_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("month", sa.String(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("booking_id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("group_id", sa.Integer(), nullable=True),
        sa.Column("payer", sa.String(), nullable=False),
        sa.Column("group_kind", sa.String(), nullable=False),
        sa.Column("account", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("ref", sa.String(), nullable=False),
        sa.Column("seconds", sa.Integer(), nullable=False),
        sa.Column("cents_per_hour", sa.Integer(), nullable=False),
        sa.Column("cents", sa.Integer(), nullable=False),
        sa.Column("currency", sa.String(), nullable=False),
        sa.Column("basis", sa.String(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        *_who(),
        sa.ForeignKeyConstraint(
            ["booking_id"], ["booking.id"], name=op.f("fk_charge_line_booking_id_booking")
        ),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_charge_line_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["group_id"], ["booking_group.id"], name=op.f("fk_charge_line_group_id_booking_group")
        ),
        sa.ForeignKeyConstraint(
            ["corrects"], ["charge_line.id"], name=op.f("fk_charge_line_corrects_charge_line")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_charge_line")),
    )
    op.create_index(op.f("ix_charge_line_booking_id"), "charge_line", ["booking_id"])
    op.create_index(op.f("ix_charge_line_corrects"), "charge_line", ["corrects"])
    op.create_index("ix_charge_line_of_month", "charge_line", ["month", "id"])
    once = sa.text("corrects IS NULL")
    op.create_index(
        "uq_charge_line_once",
        "charge_line",
        ["booking_id", "payer", "what", "ref"],
        unique=True,
        sqlite_where=once,
        postgresql_where=once,
    )
    op.create_table(
        "charge_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("line_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        *_who(),
        sa.ForeignKeyConstraint(
            ["line_id"], ["charge_line.id"], name=op.f("fk_charge_entry_line_id_charge_line")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_charge_entry")),
    )
    op.create_index("ix_charge_entry_of_line", "charge_entry", ["line_id", "id"])


def downgrade() -> None:
    """Take the tables away."""
    for table in reversed(TABLES):
        op.drop_table(table)
