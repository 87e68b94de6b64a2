"""What the pages of people and sign-ins show, as typed views."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session

from server.history import service as history
from server.history.models import Entry
from server.people import api_tokens, invitations, service, sign_ins
from server.people.models import ApiToken, Invitation, Person, SignIn

Faults = Mapping[str, str]


@dataclass(frozen=True)
class SignInView:
    """The form to sign in with."""

    nobody_yet: bool
    """True before the first account is made."""
    login: str = ""
    onward: str = "/"
    faults: Faults = field(default_factory=dict)


@dataclass(frozen=True)
class InvitationView:
    """The form behind an invitation, or with `whose` the form for a new password."""

    invitation: Invitation
    whose: Person | None
    name: str
    login: str = ""
    faults: Faults = field(default_factory=dict)


@dataclass(frozen=True)
class AccountView:
    """Somebody's own account."""

    owner: Person
    sign_ins: Sequence[SignIn]
    here: int
    """Key of the sign-in this page was asked for with."""
    tokens: Sequence[ApiToken]
    faults: Faults
    token_name: str
    new_token: str | None
    """The text of a token just made; shown this once."""


def account(
    session: Session,
    owner: Person,
    here: int,
    at: datetime,
    *,
    faults: Faults | None = None,
    token_name: str = "",
    new_token: str | None = None,
) -> AccountView:
    """The account as it is, with what somebody typed and has to mend."""
    return AccountView(
        owner=owner,
        sign_ins=sign_ins.of(session, owner, at),
        here=here,
        tokens=api_tokens.of(session, owner),
        faults=faults or {},
        token_name=token_name,
        new_token=new_token,
    )


@dataclass(frozen=True)
class PeopleView:
    """Everybody, and the invitations that wait."""

    people: Sequence[Person]
    waiting: Sequence[Invitation]
    for_name: str = ""
    faults: Faults = field(default_factory=dict)
    link: str | None = None
    """An address just made; shown this once."""


def people(
    session: Session,
    at: datetime,
    *,
    for_name: str = "",
    faults: Faults | None = None,
    link: str | None = None,
) -> PeopleView:
    """The list as it is, with what somebody typed and has to mend."""
    return PeopleView(
        people=service.everyone(session),
        waiting=invitations.waiting(session, at),
        for_name=for_name,
        faults=faults or {},
        link=link,
    )


@dataclass(frozen=True)
class PersonView:
    """One person, as a steward sees them."""

    whom: Person
    name: str
    tokens: Sequence[ApiToken]
    record: Sequence[Entry]
    faults: Faults = field(default_factory=dict)
    refused: str | None = None
    """Why something was not done, when no field is to be mended."""
    link: str | None = None
    """An address just made; shown this once."""


def person(
    session: Session,
    person_id: int,
    *,
    name: str | None = None,
    faults: Faults | None = None,
    refused: str | None = None,
    link: str | None = None,
) -> PersonView:
    """One person as they are; NotFound."""
    whom = service.person(session, person_id)
    return PersonView(
        whom=whom,
        name=whom.name if name is None else name,
        tokens=api_tokens.of(session, whom),
        record=history.of(session, sign_ins.subject(whom), limit=100),
        faults=faults or {},
        refused=refused,
        link=link,
    )
