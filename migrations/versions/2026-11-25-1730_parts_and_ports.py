"""Parts with identity, ports with pins, continuity, dirt and gas; the index of words."""

import sqlalchemy as sa
from alembic import op

from server import db
from server.cryostats import search_models

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

OF_AN_ELEMENT = ("cryostat_id", "key", "kind", "label", "note", "house", "data", "from_revision")
OF_A_PART = ("tag", "kind", "made_at", "by_name", "by_id")
APPEND_ONLY: dict[str, tuple[str, ...]] = {
    "part": OF_A_PART,
    "part_entry": (),
    "part_loan": (),
    "part_return": (),
    "port": (),
    "pin_entry": (),
    "continuity_test": (),
    "continuity_line": (),
    "dirt_entry": (),
}


def upgrade() -> None:
    """New tables that nobody rewrites, an element's part, and the index over all that was written."""
    _parts()
    _ports()
    _dirt()
    dialect = op.get_bind().dialect.name
    for table, columns in APPEND_ONLY.items():
        _run(db.append_only_sql(dialect, table, columns))
    op.add_column("element", sa.Column("part", sa.String(), server_default="", nullable=False))
    _guard_elements(dialect, (*OF_AN_ELEMENT, "part"))
    _run(search_models.MAKE[dialect])
    for table in search_models.WORDS:
        _run((search_models.filling(dialect, table), *search_models.watching(dialect, table)))


def _run(statements: tuple[str, ...]) -> None:
    for statement in statements:
        op.execute(sa.text(statement.replace(":", "\\:")))


def _guard_elements(dialect: str, columns: tuple[str, ...]) -> None:
    on = " ON element" if dialect == "postgresql" else ""
    _run((f"DROP TRIGGER element_no_update{on}", f"DROP TRIGGER element_no_delete{on}"))
    _run(db.append_only_sql(dialect, "element", columns))


def _parts() -> None:
    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("serial", sa.String(), nullable=False),
        sa.Column("about", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part")),
        sa.UniqueConstraint("tag", name=op.f("uq_part_tag")),
    )
    op.create_table(
        "part_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("on_day", sa.Date(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("test", sa.String(), nullable=False),
        sa.Column("result", sa.String(), nullable=False),
        sa.Column("about", sa.JSON(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_entry_part_id_part")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_entry")),
    )
    op.create_index("ix_part_entry_of_part", "part_entry", ["part_id", "id"])
    op.create_table(
        "part_loan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("to_whom", sa.String(), nullable=False),
        sa.Column("to_cryostat_id", sa.Integer(), nullable=True),
        sa.Column("lent_on", sa.Date(), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["part_id"], ["part.id"], name=op.f("fk_part_loan_part_id_part")),
        sa.ForeignKeyConstraint(
            ["to_cryostat_id"], ["cryostat.id"], name=op.f("fk_part_loan_to_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_loan")),
    )
    op.create_index("ix_part_loan_of_part", "part_loan", ["part_id", "id"])
    op.create_table(
        "part_return",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("loan_id", sa.Integer(), nullable=False),
        sa.Column("on_day", sa.Date(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["loan_id"], ["part_loan.id"], name=op.f("fk_part_return_loan_id_part_loan")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_return")),
        sa.UniqueConstraint("loan_id", name=op.f("uq_part_return_loan_id")),
    )


def _ports() -> None:
    op.create_table(
        "port",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("pins", sa.Integer(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["cryostat_id"], ["cryostat.id"], name=op.f("fk_port_cryostat_id_cryostat")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_port")),
        sa.UniqueConstraint("cryostat_id", "name", name=op.f("uq_port_cryostat_id_name")),
    )
    op.create_table(
        "pin_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("port_id", sa.Integer(), nullable=False),
        sa.Column("pin", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.Column("element_key", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["port_id"], ["port.id"], name=op.f("fk_pin_entry_port_id_port")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pin_entry")),
    )
    op.create_index("ix_pin_entry_newest", "pin_entry", ["port_id", "pin", "id"])
    op.create_table(
        "continuity_test",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("on_day", sa.Date(), nullable=False),
        sa.Column("lid", sa.String(), nullable=False),
        sa.Column("mount_shield_ohm", sa.Float(), nullable=True),
        sa.Column("mount_shield_more", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_continuity_test_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_continuity_test")),
    )
    op.create_index("ix_continuity_test_newest", "continuity_test", ["cryostat_id", "id"])
    op.create_table(
        "continuity_line",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("test_id", sa.Integer(), nullable=False),
        sa.Column("port", sa.String(), nullable=False),
        sa.Column("pin", sa.Integer(), nullable=False),
        sa.Column("line", sa.String(), nullable=False),
        sa.Column("open", sa.Boolean(), nullable=False),
        sa.Column("resistance_ohm", sa.Float(), nullable=True),
        sa.Column("isolation_ohm", sa.Float(), nullable=True),
        sa.Column("isolation_more", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["test_id"], ["continuity_test.id"], name=op.f("fk_continuity_line_test_id_continuity_test")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_continuity_line")),
    )
    op.create_index("ix_continuity_line_of_test", "continuity_line", ["test_id", "id"])


def _dirt() -> None:
    op.create_table(
        "dirt_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("done_at", db.UTC(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_dirt_entry_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["corrects"], ["dirt_entry.id"], name=op.f("fk_dirt_entry_corrects_dirt_entry")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_dirt_entry")),
        sa.UniqueConstraint("corrects", name=op.f("uq_dirt_entry_corrects")),
    )
    op.create_index("ix_dirt_entry_newest", "dirt_entry", ["cryostat_id", "id"])


def downgrade() -> None:
    """Back; the triggers of a table go with it."""
    dialect = op.get_bind().dialect.name
    for table in search_models.WORDS:
        _run(search_models.unwatching(dialect, table))
    op.execute(search_models.UNMAKE)
    _guard_elements(dialect, OF_AN_ELEMENT)
    op.drop_column("element", "part")
    for table in reversed(APPEND_ONLY):
        op.drop_table(table)
