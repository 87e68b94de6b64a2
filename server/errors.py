"""What a service may raise, and the status each becomes.

    Problem
    ├── SignInNeeded   401  nobody is signed in, or the token is not known
    ├── Forbidden      403  the person's grade does not cover this
    ├── NotFound       404  no such thing, or not for this person to know
    ├── Conflict       409  somebody else was first; the answer shows what they did
    └── Refused        422  the request can be mended; says which field and how

`server.web.problems` turns each into a page, a part or a JSON body. Raising rolls the transaction back.
"""

from collections.abc import Mapping


class Problem(Exception):
    """A request that is answered with a sentence instead of a page. `message` is shown to the person."""

    status = 400

    def __init__(self, message: str, fields: Mapping[str, str] | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.fields = dict(fields or {})


class SignInNeeded(Problem):
    """Nobody is signed in."""

    status = 401


class Forbidden(Problem):
    """The person may not do this."""

    status = 403


class NotFound(Problem):
    """There is no such thing."""

    status = 404


class Conflict(Problem):
    """Somebody else changed it first. `current` is what they left, for the answer to show."""

    status = 409

    def __init__(self, message: str, current: object = None) -> None:
        super().__init__(message)
        self.current = current


class Refused(Problem):
    """The request breaks a rule; `fields` maps a field's name to what to do about it."""

    status = 422
