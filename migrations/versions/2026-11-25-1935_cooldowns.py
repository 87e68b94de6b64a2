"""Cooldowns and the roster of the night."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

APPEND_ONLY = {
    "cooldown": ("cryostat_id", "number", "purpose", "begun_at", "recorded_at", "by_name", "by_id"),
    "cooldown_expectation": (),
    "cooldown_entry": (),
    "cooldown_picture": (),
    "trend_break": (),
    "night_rule": (),
    "night_roster": (),
    "night_swap": (),
    "night_record": (),
}


def upgrade() -> None:
    """Nine tables, of which only the later moments of a cooldown may ever be set."""
    op.create_table(
        "cooldown",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("begun_at", db.UTC(), nullable=False),
        sa.Column("started_at", db.UTC(), nullable=True),
        sa.Column("warming_at", db.UTC(), nullable=True),
        sa.Column("ended_at", db.UTC(), nullable=True),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_cooldown_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cooldown")),
        sa.UniqueConstraint("cryostat_id", "number", name=op.f("uq_cooldown_cryostat_id_number")),
    )
    op.create_index(
        "uq_cooldown_under_way",
        "cooldown",
        ["cryostat_id"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "night_roster",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=True),
        sa.Column("contacts", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_night_roster_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_night_roster")),
    )
    op.create_index("ix_night_roster_newest", "night_roster", ["cryostat_id", "id"], unique=False)
    op.create_table(
        "night_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("go_Pa", sa.Float(), nullable=True),
        sa.Column("restart_Pa", sa.Float(), nullable=True),
        sa.Column("longest_stop_s", sa.Float(), nullable=True),
        sa.Column("restarts_itself", sa.String(), nullable=False),
        sa.Column("decides", sa.String(), nullable=False),
        sa.Column("donts", sa.JSON(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_night_rule_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_night_rule")),
        sa.UniqueConstraint("cryostat_id", "number", name=op.f("uq_night_rule_cryostat_id_number")),
    )
    op.create_table(
        "night_swap",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("night", sa.Date(), nullable=False),
        sa.Column("instead_of", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("phone", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_night_swap_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_night_swap")),
    )
    op.create_index("ix_night_swap_night", "night_swap", ["cryostat_id", "night"], unique=False)
    op.create_table(
        "trend_break",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_trend_break_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trend_break")),
    )
    op.create_index("ix_trend_break_newest", "trend_break", ["cryostat_id", "at"], unique=False)
    op.create_table(
        "cooldown_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cooldown_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("takes_back", sa.Integer(), nullable=True),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cooldown_id"], ["cooldown.id"], name=op.f("fk_cooldown_entry_cooldown_id_cooldown")
        ),
        sa.ForeignKeyConstraint(
            ["takes_back"], ["cooldown_entry.id"], name=op.f("fk_cooldown_entry_takes_back_cooldown_entry")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cooldown_entry")),
    )
    op.create_index("ix_cooldown_entry_of_cooldown", "cooldown_entry", ["cooldown_id", "at"], unique=False)
    op.create_table(
        "cooldown_expectation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cooldown_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("budget_id", sa.Integer(), nullable=False),
        sa.Column("temperatures_K", sa.JSON(), nullable=False),
        sa.Column("times", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["budget_id"], ["heat_budget.id"], name=op.f("fk_cooldown_expectation_budget_id_heat_budget")
        ),
        sa.ForeignKeyConstraint(
            ["cooldown_id"], ["cooldown.id"], name=op.f("fk_cooldown_expectation_cooldown_id_cooldown")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cooldown_expectation")),
    )
    op.create_index(
        "ix_cooldown_expectation_newest", "cooldown_expectation", ["cooldown_id", "id"], unique=False
    )
    op.create_table(
        "cooldown_picture",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cooldown_id", sa.Integer(), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("caption", sa.String(), nullable=False),
        sa.Column("sent_name", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cooldown_id"], ["cooldown.id"], name=op.f("fk_cooldown_picture_cooldown_id_cooldown")
        ),
        sa.ForeignKeyConstraint(
            ["file_id"], ["stored_file.id"], name=op.f("fk_cooldown_picture_file_id_stored_file")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cooldown_picture")),
    )
    op.create_index(
        "ix_cooldown_picture_of_cooldown", "cooldown_picture", ["cooldown_id", "id"], unique=False
    )
    op.create_table(
        "night_record",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("cooldown_id", sa.Integer(), nullable=True),
        sa.Column("seen_at", db.UTC(), nullable=False),
        sa.Column("seen", sa.String(), nullable=False),
        sa.Column("stopped_at", db.UTC(), nullable=True),
        sa.Column("pressure_Pa", sa.Float(), nullable=True),
        sa.Column("called", sa.String(), nullable=False),
        sa.Column("left", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cooldown_id"], ["cooldown.id"], name=op.f("fk_night_record_cooldown_id_cooldown")
        ),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_night_record_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_night_record")),
    )
    op.create_index("ix_night_record_newest", "night_record", ["cryostat_id", "id"], unique=False)
    dialect = op.get_bind().dialect.name
    for table, columns in APPEND_ONLY.items():
        for statement in db.append_only_sql(dialect, table, columns):
            op.execute(sa.text(statement))


def downgrade() -> None:
    """Back; the triggers go with their tables."""
    op.drop_index("ix_night_record_newest", table_name="night_record")
    op.drop_table("night_record")
    op.drop_index("ix_night_swap_night", table_name="night_swap")
    op.drop_table("night_swap")
    op.drop_index("ix_night_roster_newest", table_name="night_roster")
    op.drop_table("night_roster")
    op.drop_table("night_rule")
    op.drop_index("ix_trend_break_newest", table_name="trend_break")
    op.drop_table("trend_break")
    op.drop_index("ix_cooldown_picture_of_cooldown", table_name="cooldown_picture")
    op.drop_table("cooldown_picture")
    op.drop_index("ix_cooldown_entry_of_cooldown", table_name="cooldown_entry")
    op.drop_table("cooldown_entry")
    op.drop_index("ix_cooldown_expectation_newest", table_name="cooldown_expectation")
    op.drop_table("cooldown_expectation")
    op.drop_index("uq_cooldown_under_way", table_name="cooldown")
    op.drop_table("cooldown")
