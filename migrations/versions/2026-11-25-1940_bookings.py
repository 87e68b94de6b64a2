"""Bookings, phases, occupancy, holds."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

NO_OVERLAP = "occupancy_no_overlap"
OTHERS = "o.cryostat_id = NEW.cryostat_id AND o.starts < NEW.ends AND o.ends > NEW.starts"
REFUSE = f"SELECT RAISE(ABORT, '{NO_OVERLAP}') WHERE EXISTS (SELECT 1 FROM occupancy o WHERE {OTHERS}"  # noqa: S608 - no text of anybody's
ON_SQLITE = (
    f"CREATE TRIGGER {NO_OVERLAP}_insert BEFORE INSERT ON occupancy BEGIN {REFUSE}); END",
    (
        f"CREATE TRIGGER {NO_OVERLAP}_update BEFORE UPDATE OF cryostat_id, starts, ends ON occupancy "
        f"BEGIN {REFUSE} AND o.id <> NEW.id); END"
    ),
)
ON_POSTGRESQL = (
    "CREATE EXTENSION IF NOT EXISTS btree_gist",
    (
        f"ALTER TABLE occupancy ADD CONSTRAINT {NO_OVERLAP} "
        "EXCLUDE USING gist (cryostat_id WITH =, tstzrange(starts, ends) WITH &&)"
    ),
)
APPEND_ONLY: dict[str, tuple[str, ...]] = {
    "booking": ("uid", "cryostat_id", "owner_id", "owner_name", "made_at", "by_name", "by_id"),
    "hold": ("cryostat_id", "kind", "reason", "made_at", "by_name", "by_id"),
    "booking_party": (),
    "booking_step": (),
    "booking_telling": (),
    "booking_rule": (),
    "booking_decision": (),
}
TABLES = (
    "booking_group",
    "booking_rule",
    "booking_group_member",
    "occupancy",
    "booking",
    "hold",
    "booking_decision",
    "booking_party",
    "booking_step",
    "booking_telling",
)


def upgrade() -> None:
    """New tables, and the database's own refusal of two occupancies at once."""
    _tables()
    dialect = op.get_bind().dialect.name
    _run(ON_POSTGRESQL if dialect == "postgresql" else ON_SQLITE)
    for table, columns in APPEND_ONLY.items():
        _run(db.append_only_sql(dialect, table, columns))


def _run(statements: tuple[str, ...]) -> None:
    for statement in statements:
        op.execute(sa.text(statement.replace(":", "\\:")))


def _tables() -> None:
    op.create_table(
        "booking_group",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("share", sa.Float(), nullable=False),
        sa.Column("closed", sa.Boolean(), nullable=False),
        sa.CheckConstraint("share > 0", name=op.f("ck_booking_group_share")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_group")),
        sa.UniqueConstraint("name", name=op.f("uq_booking_group_name")),
    )
    op.create_table(
        "booking_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("scope", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_rule")),
    )
    op.create_index("ix_booking_rule_newest", "booking_rule", ["scope", "name", "id"], unique=False)
    op.create_table(
        "booking_group_member",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("group_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["group_id"], ["booking_group.id"], name=op.f("fk_booking_group_member_group_id_booking_group")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_booking_group_member_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_group_member")),
        sa.UniqueConstraint("group_id", "person_id", name=op.f("uq_booking_group_member_group_id_person_id")),
    )
    op.create_index(
        op.f("ix_booking_group_member_person_id"), "booking_group_member", ["person_id"], unique=False
    )
    op.create_table(
        "occupancy",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("starts", db.UTC(), nullable=False),
        sa.Column("ends", db.UTC(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.CheckConstraint("starts < ends", name=op.f("ck_occupancy_order")),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_occupancy_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_occupancy")),
    )
    op.create_index("ix_occupancy_of_cryostat", "occupancy", ["cryostat_id", "starts"], unique=False)
    op.create_table(
        "booking",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("occupancy_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("owner_id", sa.Integer(), nullable=False),
        sa.Column("owner_name", sa.String(), nullable=False),
        sa.Column("helper_id", sa.Integer(), nullable=True),
        sa.Column("helper_name", sa.String(), nullable=False),
        sa.Column("group_id", sa.Integer(), nullable=True),
        sa.Column("group_name", sa.String(), nullable=False),
        sa.Column("purpose", sa.String(), nullable=False),
        sa.Column("hazards", sa.String(), nullable=False),
        sa.Column("wanted_K", sa.Float(), nullable=True),
        sa.Column("want", sa.String(), nullable=False),
        sa.Column("draft_id", sa.Integer(), nullable=True),
        sa.Column("configuration", sa.String(), nullable=False),
        sa.Column("cold_hours", sa.Float(), nullable=False),
        sa.Column("earliest", db.UTC(), nullable=True),
        sa.Column("latest", db.UTC(), nullable=True),
        sa.Column("cold_as_is", sa.Boolean(), nullable=False),
        sa.Column("window_starts", db.UTC(), nullable=True),
        sa.Column("window_ends", db.UTC(), nullable=True),
        sa.Column("phases", sa.JSON(), nullable=False),
        sa.Column("change", sa.String(), nullable=False),
        sa.Column("cold_found", sa.Boolean(), nullable=True),
        sa.Column("slack_h", sa.Float(), nullable=True),
        sa.Column("any_hour", sa.Boolean(), nullable=False),
        sa.Column("tentative", sa.Boolean(), nullable=False),
        sa.Column("training", sa.Boolean(), nullable=False),
        sa.Column("override", sa.String(), nullable=False),
        sa.Column("frozen_at", db.UTC(), nullable=True),
        sa.Column("ended_at", db.UTC(), nullable=True),
        sa.Column("joined_id", sa.Integer(), nullable=True),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("altered_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("cold_hours > 0", name=op.f("ck_booking_cold_hours")),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_booking_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(["draft_id"], ["draft.id"], name=op.f("fk_booking_draft_id_draft")),
        sa.ForeignKeyConstraint(
            ["group_id"], ["booking_group.id"], name=op.f("fk_booking_group_id_booking_group")
        ),
        sa.ForeignKeyConstraint(["helper_id"], ["person.id"], name=op.f("fk_booking_helper_id_person")),
        sa.ForeignKeyConstraint(["joined_id"], ["booking.id"], name=op.f("fk_booking_joined_id_booking")),
        sa.ForeignKeyConstraint(
            ["occupancy_id"], ["occupancy.id"], name=op.f("fk_booking_occupancy_id_occupancy")
        ),
        sa.ForeignKeyConstraint(["owner_id"], ["person.id"], name=op.f("fk_booking_owner_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking")),
        sa.UniqueConstraint("occupancy_id", name=op.f("uq_booking_occupancy_id")),
        sa.UniqueConstraint("uid", name=op.f("uq_booking_uid")),
    )
    op.create_index("ix_booking_of_cryostat", "booking", ["cryostat_id", "window_starts"], unique=False)
    op.create_index("ix_booking_of_owner", "booking", ["owner_id", "window_starts"], unique=False)
    op.create_table(
        "hold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("occupancy_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("condition", sa.String(), nullable=False),
        sa.Column("starts", db.UTC(), nullable=False),
        sa.Column("ends", db.UTC(), nullable=False),
        sa.Column("soft", sa.Boolean(), nullable=False),
        sa.Column("ended_at", db.UTC(), nullable=True),
        sa.Column("ended_note", sa.String(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(["cryostat_id"], ["cryostat.id"], name=op.f("fk_hold_cryostat_id_cryostat")),
        sa.ForeignKeyConstraint(
            ["occupancy_id"], ["occupancy.id"], name=op.f("fk_hold_occupancy_id_occupancy")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hold")),
        sa.UniqueConstraint("occupancy_id", name=op.f("uq_hold_occupancy_id")),
    )
    op.create_index("ix_hold_of_cryostat", "hold", ["cryostat_id", "starts"], unique=False)
    op.create_table(
        "booking_decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("first_id", sa.Integer(), nullable=False),
        sa.Column("second_id", sa.Integer(), nullable=False),
        sa.Column("choice", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("shown", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_booking_decision_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["first_id"], ["booking.id"], name=op.f("fk_booking_decision_first_id_booking")
        ),
        sa.ForeignKeyConstraint(
            ["second_id"], ["booking.id"], name=op.f("fk_booking_decision_second_id_booking")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_decision")),
    )
    op.create_index(
        "ix_booking_decision_of_cryostat", "booking_decision", ["cryostat_id", "id"], unique=False
    )
    op.create_table(
        "booking_party",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("booking_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("group_id", sa.Integer(), nullable=True),
        sa.Column("group_name", sa.String(), nullable=False),
        sa.Column("cold_hours", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(
            ["booking_id"], ["booking.id"], name=op.f("fk_booking_party_booking_id_booking")
        ),
        sa.ForeignKeyConstraint(
            ["group_id"], ["booking_group.id"], name=op.f("fk_booking_party_group_id_booking_group")
        ),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_booking_party_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_party")),
        sa.UniqueConstraint("booking_id", "person_id", name=op.f("uq_booking_party_booking_id_person_id")),
    )
    op.create_index(op.f("ix_booking_party_person_id"), "booking_party", ["person_id"], unique=False)
    op.create_table(
        "booking_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("booking_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["booking_id"], ["booking.id"], name=op.f("fk_booking_step_booking_id_booking")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_step")),
    )
    op.create_index("ix_booking_step_of_booking", "booking_step", ["booking_id", "id"], unique=False)
    op.create_table(
        "booking_telling",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("booking_id", sa.Integer(), nullable=True),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("person_name", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.ForeignKeyConstraint(
            ["booking_id"], ["booking.id"], name=op.f("fk_booking_telling_booking_id_booking")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_booking_telling_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_booking_telling")),
    )
    op.create_index("ix_booking_telling_of_person", "booking_telling", ["person_id", "id"], unique=False)


def downgrade() -> None:
    """Back; triggers go with their tables, the extension may serve others and stays."""
    for table in reversed(TABLES):
        op.drop_table(table)
