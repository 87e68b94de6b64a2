"""Opening slips."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None

BEGUN = ("cryostat_id", "number", "why", "draft_id", "draft_version", "reservations", "base_revision")
KEPT = (*BEGUN, "begun_at", "recorded_at", "by_name", "by_id")
TABLES = ("opening", "opening_entry", "opening_picture")
MOMENTS = ("vented_at", "opened_at", "parked_at", "built_at", "closed_at", "pumped_at", "ended_at")


def upgrade() -> None:
    """The tables; the database refuses to rewrite what was written on a slip."""
    op.create_table(
        "opening",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("why", sa.String(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=True),
        sa.Column("draft_version", sa.Integer(), nullable=True),
        sa.Column("reservations", sa.JSON(), nullable=False),
        sa.Column("base_revision", sa.Integer(), nullable=False),
        sa.Column("begun_at", db.UTC(), nullable=False),
        *(sa.Column(name, db.UTC(), nullable=True) for name in MOMENTS),
        sa.Column("open_s", sa.Float(), nullable=True),
        *_written("recorded_at"),
        _belongs("opening", "cryostat_id", "cryostat"),
        _belongs("opening", "draft_id", "draft"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_opening")),
        sa.UniqueConstraint("cryostat_id", "number", name=op.f("uq_opening_cryostat_id_number")),
    )
    under_way = sa.text("ended_at IS NULL")
    op.create_index(
        "uq_opening_under_way",
        "opening",
        ["cryostat_id"],
        unique=True,
        sqlite_where=under_way,
        postgresql_where=under_way,
    )
    op.create_table(
        "opening_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("opening_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("takes_back", sa.Integer(), nullable=True),
        *_written("recorded_at"),
        _belongs("opening_entry", "opening_id", "opening"),
        _belongs("opening_entry", "takes_back", "opening_entry"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_opening_entry")),
    )
    op.create_index("ix_opening_entry_of_opening", "opening_entry", ["opening_id", "id"])
    op.create_index("ix_opening_entry_takes_back", "opening_entry", ["takes_back"])
    op.create_table(
        "opening_picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("opening_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.String(), nullable=False) for name in ("shows", "caption", "sent_name")),
        *_written("at"),
        _belongs("opening_picture", "opening_id", "opening"),
        _belongs("opening_picture", "file_id", "stored_file"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_opening_picture")),
    )
    op.create_index("ix_opening_picture_of_opening", "opening_picture", ["opening_id", "id"])
    dialect = op.get_bind().dialect.name
    for table in TABLES:
        for statement in db.append_only_sql(dialect, table, KEPT if table == "opening" else ()):
            op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    for table in reversed(TABLES):
        op.drop_table(table)


def _written(moment: str) -> tuple[sa.Column[object], ...]:
    """When a row was written, and by whom."""
    return (
        sa.Column(moment, db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
    )


def _belongs(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))
