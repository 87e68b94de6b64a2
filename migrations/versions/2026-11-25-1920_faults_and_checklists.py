"""Faults, and checklists with their answers."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

KEPT: tuple[str, ...] = (
    "cryostat_id",
    "what_seen",
    "place",
    "part",
    "element_key",
    "severity",
    "seen_at",
    "at",
)
KEPT += ("by_name", "by_id")
TABLES = ("fault", "fault_entry", "fault_photograph", "checklist_version", "checklist", "checklist_answer")


def upgrade() -> None:
    """The tables; the database refuses to rewrite what was reported, listed or answered."""
    op.create_table(
        "fault",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=True),
        *_texts("what_seen", "place", "part", "element_key", "severity"),
        sa.Column("seen_at", db.UTC(), nullable=False),
        *_written(),
        *_texts("state", "owner_name"),
        sa.Column("owner_id", sa.Integer(), nullable=True),
        *_texts("cause", "cause_words", "remedy"),
        _belongs("fault", "cryostat_id", "cryostat"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fault")),
    )
    op.create_index("ix_fault_of_cryostat", "fault", ["cryostat_id", "state", "id"])
    op.create_table(
        "fault_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        *_texts("state", "owner_name", "cause", "text"),
        *_written(),
        _belongs("fault_entry", "fault_id", "fault"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fault_entry")),
    )
    op.create_index("ix_fault_entry_of_fault", "fault_entry", ["fault_id", "id"])
    op.create_table(
        "fault_photograph",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        *_texts("caption"),
        *_written(),
        _belongs("fault_photograph", "fault_id", "fault"),
        _belongs("fault_photograph", "file_id", "stored_file"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fault_photograph")),
    )
    op.create_index("ix_fault_photograph_of_fault", "fault_photograph", ["fault_id", "id"])
    _checklists()
    dialect = op.get_bind().dialect.name
    for table in TABLES:
        for statement in db.append_only_sql(dialect, table, KEPT if table == "fault" else ()):
            op.execute(sa.text(statement))


def _checklists() -> None:
    op.create_table(
        "checklist_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        *_texts("list_key"),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        *_texts("reason"),
        *_written(),
        _belongs("checklist_version", "cryostat_id", "cryostat"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checklist_version")),
        sa.UniqueConstraint(
            "cryostat_id", "list_key", "number", name=op.f("uq_checklist_version_cryostat_id_list_key_number")
        ),
    )
    op.create_table(
        "checklist",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("version_id", sa.Integer(), nullable=False),
        *_texts("list_key", "about"),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("lines", sa.JSON(), nullable=False),
        *_written(),
        _belongs("checklist", "cryostat_id", "cryostat"),
        _belongs("checklist", "version_id", "checklist_version"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checklist")),
    )
    op.create_index("ix_checklist_newest", "checklist", ["cryostat_id", "id"])
    op.create_table(
        "checklist_answer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("checklist_id", sa.Integer(), nullable=False),
        *_texts("line_key", "text", "outcome"),
        sa.Column("record", sa.JSON(), nullable=False),
        *_texts("words"),
        sa.Column("remarks", sa.JSON(), nullable=False),
        sa.Column("fault_id", sa.Integer(), nullable=True),
        *_written(),
        _belongs("checklist_answer", "checklist_id", "checklist"),
        _belongs("checklist_answer", "fault_id", "fault"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_checklist_answer")),
    )
    op.create_index("ix_checklist_answer_of_line", "checklist_answer", ["checklist_id", "line_key", "id"])


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    for table in reversed(TABLES):
        op.drop_table(table)


def _texts(*names: str) -> tuple[sa.Column[str], ...]:
    return tuple(sa.Column(name, sa.String(), nullable=False) for name in names)


def _written() -> tuple[sa.Column[object], ...]:
    """Who wrote a row, and when."""
    return (
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
    )


def _belongs(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=op.f(f"fk_{table}_{column}_{to}"))
