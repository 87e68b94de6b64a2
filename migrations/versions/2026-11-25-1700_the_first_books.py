"""The first books: laboratory, people, cautions, history, and the configuration of cryostats."""

import sqlalchemy as sa
from alembic import op

from server import db

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

KEPT = ("cryostat_id", "key", "kind", "label", "note", "house", "data", "from_revision")
APPEND_ONLY = {
    "history_entry": (),
    "element": KEPT,
    "revision": (),
    "heat_budget": (),
    "cooler_version": (),
    "cryostat_state": (),
}


def upgrade() -> None:
    """Every table, and the triggers by which the database refuses to rewrite history."""
    op.create_table(
        "caution_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("places", sa.String(), nullable=False),
        sa.Column("local_text", sa.String(), nullable=False),
        sa.Column("owner", sa.String(), nullable=False),
        sa.Column("review_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_caution_card")),
        sa.UniqueConstraint("code", name=op.f("uq_caution_card_code")),
    )
    op.create_table(
        "cryostat",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("slug", sa.String(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("stages", sa.JSON(), nullable=False),
        sa.Column("limits_K", sa.JSON(), nullable=False),
        sa.Column("vessel_K", sa.Float(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cryostat")),
        sa.UniqueConstraint("slug", name=op.f("uq_cryostat_slug")),
    )
    op.create_table(
        "history_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("person_name", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_history_entry")),
    )
    with op.batch_alter_table("history_entry", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_history_entry_at"), ["at"], unique=False)
        batch_op.create_index(batch_op.f("ix_history_entry_subject"), ["subject"], unique=False)

    op.create_table(
        "laboratory",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("zone", sa.String(), nullable=False),
        sa.Column("working_days", sa.String(), nullable=False),
        sa.Column("opens", sa.Time(), nullable=False),
        sa.Column("closes", sa.Time(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_laboratory_only_one")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_laboratory")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("login", sa.String(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=True),
        sa.Column("steward", sa.Boolean(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created_at", db.UTC(), nullable=False),
        sa.CheckConstraint("login = lower(login)", name=op.f("ck_person_login_lower")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("login", name=op.f("uq_person_login")),
    )
    op.create_table(
        "sign_in_attempts",
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("began_at", db.UTC(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("key", name=op.f("pk_sign_in_attempts")),
    )
    with op.batch_alter_table("sign_in_attempts", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_attempts_began_at"), ["began_at"], unique=False)

    op.create_table(
        "api_token",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("prefix", sa.String(), nullable=False),
        sa.Column("created_at", db.UTC(), nullable=False),
        sa.Column("used_at", db.UTC(), nullable=True),
        sa.Column("revoked_at", db.UTC(), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_api_token_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_token")),
        sa.UniqueConstraint("key", name=op.f("uq_api_token_key")),
    )
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_api_token_person_id"), ["person_id"], unique=False)

    op.create_table(
        "cooler_version",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("bare_revision", sa.Integer(), nullable=True),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_cooler_version_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cooler_version")),
        sa.UniqueConstraint("cryostat_id", "number", name=op.f("uq_cooler_version_cryostat_id_number")),
    )
    op.create_table(
        "cryostat_grade",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("grade", sa.Integer(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.CheckConstraint("grade BETWEEN 0 AND 4", name=op.f("ck_cryostat_grade_range")),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_cryostat_grade_cryostat_id_cryostat")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_cryostat_grade_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cryostat_grade")),
        sa.UniqueConstraint("cryostat_id", "person_id", name=op.f("uq_cryostat_grade_cryostat_id_person_id")),
    )
    op.create_table(
        "cryostat_state",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("since", db.UTC(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_cryostat_state_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cryostat_state")),
    )
    with op.batch_alter_table("cryostat_state", schema=None) as batch_op:
        batch_op.create_index("ix_cryostat_state_newest", ["cryostat_id", "since"], unique=False)

    op.create_table(
        "element",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("kind", sa.String(), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("house", sa.Boolean(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("from_revision", sa.Integer(), nullable=False),
        sa.Column("to_revision", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_element_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_element")),
    )
    with op.batch_alter_table("element", schema=None) as batch_op:
        batch_op.create_index(
            "ix_element_span", ["cryostat_id", "from_revision", "to_revision"], unique=False
        )
        batch_op.create_index(
            "uq_element_present",
            ["cryostat_id", "key"],
            unique=True,
            sqlite_where=sa.text("to_revision IS NULL"),
            postgresql_where=sa.text("to_revision IS NULL"),
        )

    op.create_table(
        "heat_budget",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("cooler_version", sa.Integer(), nullable=False),
        sa.Column("model", sa.String(), nullable=False),
        sa.Column("at", db.UTC(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_heat_budget_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_heat_budget")),
    )
    with op.batch_alter_table("heat_budget", schema=None) as batch_op:
        batch_op.create_index("ix_heat_budget_newest", ["cryostat_id", "revision", "id"], unique=False)

    op.create_table(
        "invitation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("for_name", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=True),
        sa.Column("made_by_id", sa.Integer(), nullable=False),
        sa.Column("made_by_name", sa.String(), nullable=False),
        sa.Column("made_at", db.UTC(), nullable=False),
        sa.Column("expires_at", db.UTC(), nullable=False),
        sa.Column("used_at", db.UTC(), nullable=True),
        sa.Column("withdrawn_at", db.UTC(), nullable=True),
        sa.ForeignKeyConstraint(["made_by_id"], ["person.id"], name=op.f("fk_invitation_made_by_id_person")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_invitation_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_invitation")),
        sa.UniqueConstraint("key", name=op.f("uq_invitation_key")),
    )
    with op.batch_alter_table("invitation", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_invitation_person_id"), ["person_id"], unique=False)

    op.create_table(
        "revision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("cryostat_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("base", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("restored", sa.Integer(), nullable=True),
        sa.Column("done_at", db.UTC(), nullable=False),
        sa.Column("recorded_at", db.UTC(), nullable=False),
        sa.Column("by_name", sa.String(), nullable=False),
        sa.Column("by_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["cryostat_id"], ["cryostat.id"], name=op.f("fk_revision_cryostat_id_cryostat")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revision")),
        sa.UniqueConstraint("cryostat_id", "number", name=op.f("uq_revision_cryostat_id_number")),
    )
    op.create_table(
        "sign_in",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("created_at", db.UTC(), nullable=False),
        sa.Column("expires_at", db.UTC(), nullable=False),
        sa.Column("seen_at", db.UTC(), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("key", name=op.f("uq_sign_in_key")),
    )
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_in_expires_at"), ["expires_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_in_person_id"), ["person_id"], unique=False)

    dialect = op.get_bind().dialect.name
    for table, columns in APPEND_ONLY.items():
        for statement in db.append_only_sql(dialect, table, columns):
            op.execute(sa.text(statement))


def downgrade() -> None:
    """Back."""
    with op.batch_alter_table("sign_in", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_person_id"))
        batch_op.drop_index(batch_op.f("ix_sign_in_expires_at"))

    op.drop_table("sign_in")
    op.drop_table("revision")
    with op.batch_alter_table("invitation", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_invitation_person_id"))

    op.drop_table("invitation")
    with op.batch_alter_table("heat_budget", schema=None) as batch_op:
        batch_op.drop_index("ix_heat_budget_newest")

    op.drop_table("heat_budget")
    with op.batch_alter_table("element", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_element_present",
            sqlite_where=sa.text("to_revision IS NULL"),
            postgresql_where=sa.text("to_revision IS NULL"),
        )
        batch_op.drop_index("ix_element_span")

    op.drop_table("element")
    with op.batch_alter_table("cryostat_state", schema=None) as batch_op:
        batch_op.drop_index("ix_cryostat_state_newest")

    op.drop_table("cryostat_state")
    op.drop_table("cryostat_grade")
    op.drop_table("cooler_version")
    with op.batch_alter_table("api_token", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_api_token_person_id"))

    op.drop_table("api_token")
    with op.batch_alter_table("sign_in_attempts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_attempts_began_at"))

    op.drop_table("sign_in_attempts")
    op.drop_table("person")
    op.drop_table("laboratory")
    with op.batch_alter_table("history_entry", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_history_entry_subject"))
        batch_op.drop_index(batch_op.f("ix_history_entry_at"))

    op.drop_table("history_entry")
    op.drop_table("cryostat")
    op.drop_table("caution_card")
