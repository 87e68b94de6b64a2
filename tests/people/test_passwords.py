"""Hashing: right and wrong, the same work for nobody, and never too many at once."""

import threading
import time

import pytest
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from server.people import passwords


def test_the_right_password_fits_and_another_does_not() -> None:
    kept = passwords.hashed("a long cold night")
    assert kept.startswith("$argon2id$")
    assert passwords.check("a long cold night", kept) == (True, None)
    assert passwords.check("a long cold nights", kept) == (False, None)


def test_two_hashes_of_one_password_differ() -> None:
    assert passwords.hashed("a long cold night") != passwords.hashed("a long cold night")


def test_the_program_hashes_with_the_costs_its_library_recommends() -> None:
    """RFC 9106, section 4, second choice: Argon2id, 3 passes, 4 lanes, 64 MiB."""
    kept = PasswordHash.recommended().hash("a long cold night")
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")


def test_an_aged_hash_is_made_anew() -> None:
    old = PasswordHash((Argon2Hasher(time_cost=2, memory_cost=16, parallelism=1),)).hash("a long cold night")
    fits, newer = passwords.check("a long cold night", old)
    assert fits
    assert newer is not None
    assert passwords.check("a long cold night", newer) == (True, None)


class Counting(Argon2Hasher):
    """Counts how often and how many at once it verifies."""

    def __init__(self) -> None:
        super().__init__(time_cost=1, memory_cost=8, parallelism=1)
        self.lock = threading.Lock()
        self.verified = self.now = self.most = 0

    def verify(self, password: str | bytes, hash: str | bytes) -> bool:  # noqa: A002 the library's name
        with self.lock:
            self.verified += 1
            self.now += 1
            self.most = max(self.most, self.now)
        time.sleep(0.02)
        with self.lock:
            self.now -= 1
        return super().verify(password, hash)


@pytest.fixture
def counting(monkeypatch: pytest.MonkeyPatch) -> Counting:
    made = Counting()
    monkeypatch.setattr(passwords, "HASHER", PasswordHash((made,)))
    return made


def test_an_unknown_login_costs_the_same_work_as_a_known_one(counting: Counting) -> None:
    """Else the time an answer takes tells who has an account."""
    assert passwords.check("the password of nobody", None) == (False, None)
    assert counting.verified == 1


def test_only_two_passwords_are_looked_at_at_once(counting: Counting) -> None:
    kept = passwords.hashed("a long cold night")
    threads = [threading.Thread(target=passwords.check, args=("x", kept)) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert counting.verified == 8
    assert counting.most == 2


def test_who_waits_too_long_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passwords, "AT_ONCE", threading.BoundedSemaphore(1))
    monkeypatch.setattr(passwords, "WAIT_s", 0.01)
    passwords.AT_ONCE.acquire()
    with pytest.raises(passwords.Busy, match="Try again") as busy:
        passwords.check("a long cold night", None)
    assert busy.value.status == 503
