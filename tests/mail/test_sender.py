"""Each letter is handed over at most once: two senders, a broken connection, a refusal, a stopped process.

What is waited for of the other side is RFC 5321; the server is the general test server of the tests' group.
"""

import socket
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from sqlalchemy.engine import Engine
from sqlalchemy.exc import DBAPIError
from sqlmodel import select, update

from server import jobs
from server.db import reading, writing
from server.mail import outbox, rules, sender
from server.mail.models import Letter
from server.settings import Settings

AT = datetime(2026, 3, 16, 8, tzinfo=UTC)


class Box:
    """Takes letters, or answers what it was told to."""

    def __init__(self, answer: str = "250 Taken") -> None:
        self.answer = answer
        self.taken: list[Any] = []

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:
        self.taken.append(envelope)
        return self.answer


@contextmanager
def listening(box: Box) -> Iterator[Settings]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    made = Controller(box, hostname="127.0.0.1", port=port)
    made.start()
    try:
        yield at_port(port)
    finally:
        made.stop()


def at_port(port: int) -> Settings:
    return Settings(mail_host="127.0.0.1", mail_port=port, mail_from="books@example.org")


def write(engine: Engine, number: int = 1) -> None:
    with writing(engine) as session:
        for row in range(number):
            outbox.write(
                session, f"ben{row}@example.org", f"Größe {row}\r\nBcc: x@example.org", "Text\n.\n", "", AT
            )
        session.commit()


def letters(engine: Engine) -> list[Letter]:
    with reading(engine) as session:
        return list(session.exec(select(Letter).order_by(Letter.id)).all())  # type: ignore[arg-type]


def send(engine: Engine, chosen: Settings, at: datetime = AT) -> dict[str, int]:
    return dict(sender.send(engine, chosen, lambda: at))


def test_a_letter_is_handed_over_once_and_never_again(engine: Engine) -> None:
    box = Box()
    write(engine)
    with listening(box) as chosen:
        assert send(engine, chosen) == {"handed-over": 1}
        assert send(engine, chosen, AT + timedelta(days=1)) == {}
    (row,) = letters(engine)
    (got,) = box.taken
    read = message_from_bytes(got.content)
    assert read["Message-ID"] == row.message_id
    assert read["Bcc"] is None
    assert got.rcpt_tos == ["ben0@example.org"]
    assert read["Auto-Submitted"] == "auto-generated"


def test_two_senders_at_once_hand_each_letter_over_once(engine: Engine) -> None:
    box = Box()
    write(engine, 12)
    with listening(box) as chosen, ThreadPoolExecutor(2) as pool:
        found = list(pool.map(lambda _: send(engine, chosen), range(2)))
    assert sum(row.get("handed-over", 0) for row in found) == 12
    assert sorted(row.rcpt_tos[0] for row in box.taken) == sorted(f"ben{n}@example.org" for n in range(12))


@contextmanager
def breaking() -> Iterator[Settings]:
    """A server that takes the whole text and then goes away without a word."""
    door = socket.create_server(("127.0.0.1", 0))

    def serve() -> None:
        link, _ = door.accept()
        with link, link.makefile("rb") as lines:
            link.sendall(b"220 here\r\n")
            for line in lines:
                if line.upper().startswith(b"DATA"):
                    link.sendall(b"354 go on\r\n")
                elif line == b".\r\n":
                    return
                elif line[:4].upper() in (b"EHLO", b"MAIL", b"RCPT"):
                    link.sendall(b"250 yes\r\n")

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield at_port(door.getsockname()[1])
    finally:
        thread.join()
        door.close()


def test_a_connection_that_breaks_after_the_text_leaves_an_unknown_that_is_not_repeated(
    engine: Engine,
) -> None:
    write(engine)
    with breaking() as chosen:
        assert send(engine, chosen) == {"unknown": 1}
    box = Box()
    with listening(box) as chosen:
        assert send(engine, chosen, AT + timedelta(hours=5)) == {}
    assert box.taken == []
    assert "no answer came" in letters(engine)[0].trouble


def test_a_server_that_is_away_is_tried_again_later_with_the_same_message_id(engine: Engine) -> None:
    write(engine)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        away = at_port(free.getsockname()[1])
        assert send(engine, away) == {"waiting": 1}
        assert send(engine, away, AT + timedelta(minutes=1)) == {}
    before = letters(engine)[0]
    box = Box()
    with listening(box) as chosen:
        assert send(engine, chosen, AT + timedelta(minutes=3)) == {"handed-over": 1}
    assert message_from_bytes(box.taken[0].content)["Message-ID"] == before.message_id


@pytest.mark.parametrize(
    ("answer", "state"), [("451 Not now", "waiting"), ("554 Never", "refused"), ("250 Yes", "handed-over")]
)
def test_what_the_server_answers_to_the_text_counts(engine: Engine, answer: str, state: str) -> None:
    write(engine)
    with listening(Box(answer)) as chosen:
        assert send(engine, chosen) == {state: 1}
    assert letters(engine)[0].state == state


def test_an_attempt_that_was_cut_off_is_unknown_and_not_repeated(engine: Engine) -> None:
    write(engine)
    with writing(engine) as session:
        assert outbox.claim(session, "somebody", AT) is not None
        session.commit()
    box = Box()
    with listening(box) as chosen:
        assert send(engine, chosen, AT + rules.LOST / 2) == {}
        assert letters(engine)[0].state == rules.TRYING
        assert send(engine, chosen, AT + rules.LOST * 2) == {}
    assert letters(engine)[0].state == rules.UNKNOWN
    assert box.taken == []


def test_without_a_mail_server_nothing_is_tried_and_old_letters_are_never_sent(engine: Engine) -> None:
    write(engine)
    assert send(engine, Settings(mail_host="")) == {}
    assert letters(engine)[0].tries == 0
    box = Box()
    with listening(box) as chosen:
        assert send(engine, chosen, AT + timedelta(days=4)) == {}
    assert (letters(engine)[0].state, box.taken) == (rules.TOO_OLD, [])


def test_the_text_of_a_letter_cannot_be_rewritten(engine: Engine) -> None:
    write(engine)
    with writing(engine) as session, pytest.raises(DBAPIError, match="append-only"):
        session.exec(update(Letter).values(body="other"))


def test_one_process_has_the_lease_until_it_lapses(engine: Engine) -> None:
    length = timedelta(minutes=5)
    assert jobs.take(engine, "mail", "one", AT, length)
    assert not jobs.take(engine, "mail", "two", AT + length / 2, length)
    assert jobs.take(engine, "mail", "one", AT + length / 2, length)
    assert jobs.take(engine, "mail", "two", AT + 2 * length, length)


def test_two_processes_that_ask_at_once_get_one_lease(engine: Engine) -> None:
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda n: jobs.take(engine, "mail", str(n), AT, rules.LOST), range(4)))
    assert found.count(True) == 1


@pytest.mark.parametrize(
    "address", ["a b@example.org", "a@b@c", "a", "a@", "@b", "a@b\r\nBcc: c@d", "a" * 300 + "@b.c"]
)
def test_what_is_no_address_is_refused(address: str) -> None:
    assert rules.address_fault(address)


def test_a_usual_address_is_taken() -> None:
    assert rules.address_fault("ben.member+cold@lab-2.example.org") == ""
