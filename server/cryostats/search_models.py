"""The index of words, which the database keeps by itself: FTS5 on SQLite, tsvector on PostgreSQL.

It is no table of the program's own but made from its tables by triggers, so that nothing written into the
book by whatever way is left out, and an archive, which leaves it out, fills it again when it is brought back.
Every source is append-only, so that a word once there stays right.
"""

import sqlalchemy as sa

from server.db import Row

INDEX = "search_index"
WORDS = {
    "element": ("key", "label", "kind", "note", "part", "data"),
    "revision": ("reason",),
    "part": ("tag", "kind", "name", "serial", "about"),
    "part_entry": ("test", "result", "place", "note", "about"),
    "part_loan": ("to_whom", "note"),
    "dirt_entry": ("what", "kind", "note"),
    "continuity_test": ("note",),
    "continuity_line": ("line", "note"),
    "pin_entry": ("line", "note"),
    "history_entry": ("what",),
    "draft_version": ("reason", "put", "(SELECT name FROM draft WHERE draft.id = {of}draft_id)"),
    "draft_step": ("note",),
    "sample": ("what", "owner_name", "if_breaks", "carrier", "mount", "note"),
    "sample_step": ("note",),
}
"""Table → the columns whose words are found, or an expression over the row `{of}`."""
JSON = {("element", "data"), ("part", "about"), ("part_entry", "about"), ("draft_version", "put")}
"""Columns of which the texts are found: as people wrote them, not as JSON escapes them."""

_FTS5 = "words, source UNINDEXED, row_id UNINDEXED, tokenize = 'unicode61 remove_diacritics 0'"
_COLUMNS = "source varchar NOT NULL, row_id integer NOT NULL, words text NOT NULL"
# FTS5 parts words at every sign that is no letter or digit; so that both engines find the same, this one is
# handed the text with such signs taken out: its own parser reads “loom-03” as “loom” and “minus three”.
_PARTED = r"regexp_replace(words, '[\W_]+', ' ', 'g')"
_FOUND = f"found tsvector GENERATED ALWAYS AS (to_tsvector('simple', {_PARTED})) STORED"
MAKE = {
    "sqlite": (f"CREATE VIRTUAL TABLE {INDEX} USING fts5({_FTS5})",),
    "postgresql": (
        f"CREATE TABLE {INDEX} ({_COLUMNS}, {_FOUND})",
        f"CREATE INDEX ix_{INDEX} ON {INDEX} USING gin (found)",
    ),
}
UNMAKE = f"DROP TABLE IF EXISTS {INDEX}"


def watching(dialect: str, table: str) -> tuple[str, ...]:
    """The statements by which the database puts every new row of `table` into the index."""
    words = _words(dialect, table, "NEW.")
    into = f"INSERT INTO {INDEX} (source, row_id, words) VALUES ('{table}', NEW.id, {words})"  # noqa: S608 - names of our own
    trigger = f"CREATE TRIGGER {table}_words AFTER INSERT ON {table}"
    if dialect == "sqlite":
        return (f"{trigger} BEGIN {into}; END",)
    made = f"CREATE OR REPLACE FUNCTION {table}_words() RETURNS trigger LANGUAGE plpgsql"
    return (
        f"{made} AS $$ BEGIN {into}; RETURN NEW; END $$",
        f"{trigger} FOR EACH ROW EXECUTE FUNCTION {table}_words()",
    )


def unwatching(dialect: str, table: str) -> tuple[str, ...]:
    """The statements that take the trigger of `table` away."""
    if dialect == "sqlite":
        return (f"DROP TRIGGER {table}_words",)
    return (f"DROP TRIGGER {table}_words ON {table}", f"DROP FUNCTION {table}_words()")


def filling(dialect: str, table: str) -> str:
    """The statement that puts the rows of `table` in that were there before the index."""
    return (
        f"INSERT INTO {INDEX} (source, row_id, words) "  # noqa: S608 - names of our own
        f"SELECT '{table}', id, {_words(dialect, table, '')} FROM {table}"
    )


def _words(dialect: str, table: str, of: str) -> str:
    return " || ' ' || ".join(_text(dialect, table, column, of) for column in WORDS[table])


def _text(dialect: str, table: str, column: str, of: str) -> str:
    if "{of}" in column:
        return f"COALESCE({column.format(of=of)}, '')"
    if (table, column) not in JSON:
        return f"CAST({of}{column} AS text)"
    if dialect == "sqlite":
        texts = f"SELECT group_concat(atom, ' ') FROM json_tree({of}{column}) WHERE type = 'text'"  # noqa: S608
        return f"COALESCE(({texts}), '')"
    every = """'strict $.** ? (@.type() == "string")'"""
    return f"COALESCE(CAST(jsonb_path_query_array(CAST({of}{column} AS jsonb), {every}) AS text), '')"


def ours(name: str | None, kind: str, _parents: object) -> bool:
    """False for the tables of the index, which are no part of the schema the models describe."""
    return kind != "table" or not (name or "").startswith(INDEX)


def _install() -> None:
    def ddl(statement: str, dialect: str) -> sa.ExecutableDDLElement:
        made: sa.DDL = sa.DDL(statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
        return made.execute_if(dialect=dialect)

    for dialect in ("sqlite", "postgresql"):
        for statement in MAKE[dialect]:
            sa.event.listen(Row.metadata, "after_create", ddl(statement, dialect))
        for table in WORDS:
            for statement in watching(dialect, table):
                sa.event.listen(Row.metadata, "after_create", ddl(statement, dialect))
        sa.event.listen(Row.metadata, "before_drop", ddl(UNMAKE, dialect))


_install()
