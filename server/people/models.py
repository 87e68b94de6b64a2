"""Accounts, sign-ins, invitations, tokens. Of every secret only a hash is kept."""

from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Field

from server.db import UTC, Row


class Person(Row, table=True):
    """Somebody with an account. A person is never deleted: what they did keeps their name."""

    __tablename__ = "person"
    __table_args__ = (sa.CheckConstraint("login = lower(login)", name="login_lower"),)

    id: int | None = Field(default=None, primary_key=True)
    name: str
    login: str = Field(unique=True)
    password_hash: str | None = None
    """Argon2, with its own salt and costs. None: nobody can sign in with this account."""
    steward: bool = False
    safety: bool = False
    """Answers for safety: reckons the oxygen of rooms. No other right follows from it."""
    active: bool = True
    created_at: datetime = Field(sa_type=UTC)


class SignIn(Row, table=True):
    """One browser in which somebody is signed in; signing out deletes the row."""

    __tablename__ = "sign_in"

    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    """SHA-256 of the random token in the browser's cookie."""
    person_id: int = Field(foreign_key="person.id", index=True)
    created_at: datetime = Field(sa_type=UTC)
    expires_at: datetime = Field(sa_type=UTC, index=True)
    seen_at: datetime = Field(sa_type=UTC)
    """Written at most once an hour."""


class Invitation(Row, table=True):
    """A link that works once: to make an account, or with `person_id` to set that person's new password."""

    __tablename__ = "invitation"

    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    """SHA-256 of the random token in the link."""
    for_name: str
    person_id: int | None = Field(default=None, foreign_key="person.id", index=True)
    made_by_id: int = Field(foreign_key="person.id")
    made_by_name: str
    made_at: datetime = Field(sa_type=UTC)
    expires_at: datetime = Field(sa_type=UTC)
    used_at: datetime | None = Field(default=None, sa_type=UTC)
    withdrawn_at: datetime | None = Field(default=None, sa_type=UTC)


class ApiToken(Row, table=True):
    """A token with which a program acts as a person."""

    __tablename__ = "api_token"

    id: int | None = Field(default=None, primary_key=True)
    person_id: int = Field(foreign_key="person.id", index=True)
    name: str
    key: str = Field(unique=True)
    """SHA-256 of the token."""
    prefix: str
    """Its first letters, by which its owner knows it again."""
    created_at: datetime = Field(sa_type=UTC)
    used_at: datetime | None = Field(default=None, sa_type=UTC)
    """Written at most once an hour."""
    revoked_at: datetime | None = Field(default=None, sa_type=UTC)


class Attempts(Row, table=True):
    """How often somebody tried to sign in, by login and by address, in one stretch of time."""

    __tablename__ = "sign_in_attempts"

    key: str = Field(primary_key=True)
    """SHA-256 of what was tried: people type a password into the wrong field."""
    began_at: datetime = Field(sa_type=UTC, index=True)
    count: int
