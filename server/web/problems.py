"""Where every refusal becomes an answer: a page for a browser, a part for htmx, JSON for the API."""

import json
import logging
from urllib.parse import quote

import sqlalchemy as sa
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from server.errors import Problem, SignInNeeded
from server.web.render import render, wants_part

log = logging.getLogger(__name__)
SENTENCES = {
    404: "There is no such page.",
    405: "This address does not take that kind of request.",
    503: "Somebody else is storing just now. Nothing of yours was stored; try again.",
    500: "Something went wrong here. Nothing was stored; the server's log says what it was.",
}


def install(app: FastAPI) -> None:
    """Register the handlers."""
    app.add_exception_handler(Problem, _problem)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _validation)
    app.add_exception_handler(OverflowError, _no_such_number)
    app.add_exception_handler(sa.exc.DataError, _no_such_number)
    app.add_exception_handler(sa.exc.StatementError, _not_stated)
    app.add_exception_handler(sa.exc.OperationalError, _busy)
    app.add_exception_handler(Exception, _broken)


def answer(request: Request, status: int, message: str, fields: dict[str, str] | None = None) -> Response:
    """One refusal in the form the asker reads."""
    if request.url.path.startswith("/api/"):
        rows = [{"field": name, "message": text} for name, text in (fields or {}).items()]
        headers = {"WWW-Authenticate": "Bearer"} if status == 401 else None
        # In ASCII, since a fault may quote half a surrogate pair, which has no other encoding.
        body = json.dumps({"error": message, "fields": rows})
        return Response(body, status, headers, media_type="application/json")
    template = f"errors/{status}.html" if status in (401, 403, 404, 409, 422, 500) else "errors/422.html"
    return render(
        request,
        template,
        block="problem" if wants_part(request) else None,
        status=status,
        message=message,
        fields=fields or {},
    )


def _problem(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, Problem)
    if isinstance(problem, SignInNeeded) and _reads_a_page(request):
        return RedirectResponse(f"/sign-in?next={quote(request.url.path)}", status_code=303)
    return answer(request, problem.status, problem.message, problem.fields)


def _reads_a_page(request: Request) -> bool:
    page = not request.url.path.startswith("/api/") and not wants_part(request)
    return page and request.method in ("GET", "HEAD")


def _http(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, HTTPException)
    message = SENTENCES.get(problem.status_code, str(problem.detail))
    return answer(request, problem.status_code, message)


def _validation(request: Request, problem: Exception) -> Response:
    assert isinstance(problem, RequestValidationError)
    fields = {".".join(str(part) for part in row["loc"][1:]): row["msg"] for row in problem.errors()}
    return answer(request, 422, "The request cannot be read. Mend the fields named below.", fields)


def _no_such_number(request: Request, _problem: Exception) -> Response:
    """A number in an address or a body that no key can be: the database would not take it."""
    return answer(request, 404, SENTENCES[404])


def _not_stated(request: Request, problem: Exception) -> Response:
    """A moment that has no year in UTC never reaches the database; anything else here is our own mistake."""
    if isinstance(problem, sa.exc.StatementError) and isinstance(problem.orig, OverflowError):
        return _no_such_number(request, problem)
    raise problem


def _busy(request: Request, problem: Exception) -> Response:
    """Somebody else held the database for longer than we wait."""
    log.warning("database busy on %s %s: %s", request.method, request.url.path, problem)
    return answer(request, 503, SENTENCES[503])


def _broken(request: Request, problem: Exception) -> Response:
    log.error("unexpected error on %s %s", request.method, request.url.path, exc_info=problem)
    return answer(request, 500, SENTENCES[500])
