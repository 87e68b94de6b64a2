"""Hashing and checking passwords with Argon2.

Each run takes 64 MiB and a tenth of a second, so only a few happen at once, and callers keep no transaction
open around one. Checking takes the same work whether there is such an account or not.
"""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from pwdlib import PasswordHash

from server.errors import Problem
from server.people.rules import password_of

HASHER = PasswordHash.recommended()
AT_ONCE = threading.BoundedSemaphore(2)
WAIT_s = 5.0


class Busy(Problem):
    """More people sign in at this moment than memory allows for."""

    status = 503


@contextmanager
def _turn() -> Iterator[None]:
    if not AT_ONCE.acquire(timeout=WAIT_s):
        raise Busy("Many people are signing in at this moment. Try again in a minute.")
    try:
        yield
    finally:
        AT_ONCE.release()


def hashed(password: str) -> str:
    """What is kept of a password."""
    with _turn():
        return HASHER.hash(password_of(password))


def check(password: str, kept: str | None) -> tuple[bool, str | None]:
    """Whether a password is the one that was kept, and a newer hash when the kept one has aged.

    With nothing kept the answer is no, after the same work.
    """
    with _turn():
        fits, newer = HASHER.verify_and_update(password_of(password), kept or _nobody(HASHER))
    return (fits, newer) if kept else (False, None)


@cache
def _nobody(hasher: PasswordHash) -> str:
    return hasher.hash("the password of nobody")
