"""One way to make a page, a part of a page, or the redirect after a write."""

import hashlib
from collections.abc import Mapping
from functools import cache
from typing import Any
from urllib.parse import quote, unquote

import jinja2
from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse

from server import units
from server.settings import HOUSE
from server.web import moments

TEMPLATES = HOUSE / "templates"
STATIC = HOUSE / "static"
FLASH = "coldstead_done"


@cache
def environment() -> jinja2.Environment:
    """The one template environment: everything escaped, an unknown name is an error."""
    env = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters.update(units.FILTERS)
    env.filters.update(moments.FILTERS)
    env.globals["asset"] = asset
    env.globals["vendor"] = lambda name: asset(f"vendor/{name}")
    env.globals["ui"] = env.get_template("ui/all.html").module
    return env


@cache
def asset(name: str) -> str:
    """The address of a file in static/, with its fingerprint so that browsers may keep it for ever."""
    path = STATIC / name
    mark = hashlib.sha256(path.read_bytes()).hexdigest()[:12] if path.is_file() else "missing"
    return f"/static/{name}?v={mark}"


def wants_part(request: Request) -> bool:
    """True when htmx asks for a part of a page."""
    return request.headers.get("HX-Request") == "true" and request.headers.get("HX-Request-Type") != "full"


def render(
    request: Request,
    template: str,
    view: object = None,
    *,
    block: str | None = None,
    status: int = 200,
    **more: object,
) -> HTMLResponse:
    """The page `template` over one typed `view`; with `block`, that block alone."""
    names = _context(request, view, more)
    page = environment().get_template(template)
    if block is None:
        text = page.render(names)
    else:
        context = page.new_context(names)
        text = "".join(page.blocks[block](context))
    headers = {"Vary": "HX-Request", "Cache-Control": "no-store"}
    answer = HTMLResponse(text, status_code=status, headers=headers)
    if FLASH in request.cookies and block is None:
        answer.delete_cookie(FLASH)
    return answer


def _context(request: Request, view: object, more: Mapping[str, object]) -> dict[str, Any]:
    state = request.state
    return {
        "request": request,
        "view": view,
        "path": request.url.path,
        "person": getattr(state, "person", None),
        "laboratory": getattr(state, "laboratory", None),
        "flash": unquote(request.cookies.get(FLASH, "")) or None,
        **more,
    }


def done(request: Request, address: str, line: str) -> RedirectResponse:
    """After a write: on to the page that shows the new state, with one short line of success."""
    answer = RedirectResponse(address, status_code=303)
    answer.set_cookie(
        FLASH, quote(line), max_age=60, httponly=True, samesite="lax", secure=request.url.scheme == "https"
    )
    return answer
