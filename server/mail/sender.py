"""Handing letters over by SMTP (RFC 5321), each at most once.

Before the text of a letter has been sent, any failure means that it was not handed over, and it waits again.
From then on only an answer says what became of it: no answer, and it is marked as unknown and not repeated.
"""

import smtplib
import ssl
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from uuid import uuid4

from sqlalchemy.engine import Engine

from server import jobs
from server.db import writing
from server.mail import outbox, rules
from server.mail.models import Letter
from server.settings import Settings

TIMEOUT_S = 30.0
MOST = 200
"""Letters of one turn."""
LEASE = "mail"
PERMANENT = 500


class NotHandedOver(Exception):
    """Certainly not handed over; `final` when it makes no sense to try again."""

    def __init__(self, words: str, *, final: bool = False) -> None:
        super().__init__(words)
        self.final = final


class OutcomeUnknown(Exception):
    """The text was sent, and no answer came."""


def message(letter: Letter, sent_from: str) -> bytes:
    """The letter as it goes over the wire; the same bytes each time."""
    made = EmailMessage(policy=SMTP)
    made["From"] = sent_from
    made["To"] = letter.to_address
    made["Subject"] = letter.subject
    made["Date"] = letter.made_at
    made["Message-ID"] = letter.message_id
    made["Auto-Submitted"] = "auto-generated"
    made.set_content(letter.body, cte="quoted-printable")
    return made.as_bytes()


def send(engine: Engine, chosen: Settings, clock: Callable[[], datetime]) -> Counter[str]:
    """Hand over what is due; how many letters ended in which state. Nothing where no mail is configured."""
    found: Counter[str] = Counter()
    if not chosen.mail_host:
        return found
    sender = uuid4().hex
    with writing(engine) as session:
        outbox.tidy(session, clock())
        session.commit()
    for _ in range(MOST):
        state = _one(engine, chosen, sender, clock)
        if state is None:
            break
        found[state] += 1
    return found


def scheduled(engine: Engine, chosen: Settings, clock: Callable[[], datetime], holder: str) -> None:
    """One turn of the server's own schedule, if no other process has it."""
    if jobs.take(engine, LEASE, holder, clock(), rules.LOST):
        send(engine, chosen, clock)


def _one(engine: Engine, chosen: Settings, sender: str, clock: Callable[[], datetime]) -> str | None:
    """Claim one letter, try it, write down what became of it."""
    with writing(engine) as session:
        letter = outbox.claim(session, sender, clock())
        if letter is None:
            return None
        session.refresh(letter)
        session.expunge(letter)
        session.commit()
    state, trouble = _tried(letter, chosen)
    with writing(engine) as session:
        if state == rules.WAITING:
            outbox.again(session, letter, sender, trouble, clock())
        else:
            outbox.ended(session, letter.id or 0, sender, state, trouble, clock())
        session.commit()
    return state


def _tried(letter: Letter, chosen: Settings) -> tuple[str, str]:
    try:
        hand_over(letter, chosen)
    except NotHandedOver as problem:
        return (rules.REFUSED if problem.final else rules.WAITING), str(problem)
    except OutcomeUnknown as problem:
        return rules.UNKNOWN, str(problem)
    return rules.HANDED_OVER, ""


def hand_over(letter: Letter, chosen: Settings) -> None:
    """One attempt; NotHandedOver or OutcomeUnknown."""
    try:
        link = _connect(chosen)
    except (OSError, smtplib.SMTPException) as problem:
        raise NotHandedOver(f"No way to the mail server: {problem}") from problem
    try:
        _envelope(link, letter, chosen)
        _text(link, message(letter, chosen.mail_from))
    finally:
        with suppress(OSError, smtplib.SMTPException):
            link.quit()


def _connect(chosen: Settings) -> smtplib.SMTP:
    trusted = ssl.create_default_context()
    if chosen.mail_tls == "tls":
        link: smtplib.SMTP = smtplib.SMTP_SSL(
            chosen.mail_host, chosen.mail_port, timeout=TIMEOUT_S, context=trusted
        )
    else:
        link = smtplib.SMTP(chosen.mail_host, chosen.mail_port, timeout=TIMEOUT_S)
    try:
        if chosen.mail_tls == "starttls":
            link.starttls(context=trusted)
        if chosen.mail_user:
            link.login(chosen.mail_user, chosen.mail_password.get_secret_value())
    except BaseException:
        link.close()
        raise
    return link


def _envelope(link: smtplib.SMTP, letter: Letter, chosen: Settings) -> None:
    try:
        link.ehlo_or_helo_if_needed()
        for code, words in (link.mail(chosen.mail_from), link.rcpt(letter.to_address)):
            _accepted(code, words)
    except (OSError, smtplib.SMTPException) as problem:
        raise NotHandedOver(f"The mail server went away: {problem}") from problem


def _text(link: smtplib.SMTP, text: bytes) -> None:
    try:
        code, words = link.data(text)
    except smtplib.SMTPDataError as problem:
        # Raised before the text is sent, when the server would not have it.
        raise NotHandedOver(str(problem), final=problem.smtp_code >= PERMANENT) from problem
    except (OSError, smtplib.SMTPException) as problem:
        raise OutcomeUnknown(f"The text was sent, and no answer came: {problem}") from problem
    _accepted(code, words)


def _accepted(code: int, words: bytes) -> None:
    if not 200 <= code < 300:
        said = f"{code} {words.decode(errors='replace')}"
        raise NotHandedOver(said, final=code >= PERMANENT)
