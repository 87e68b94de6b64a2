"""What stands before every route: origin guard, size limit, headers.

Plain ASGI, so that a body is counted while it arrives and nothing is buffered twice.
"""

from collections.abc import Callable
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE_METHODS = {"GET", "HEAD", "OPTIONS", "TRACE"}
SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
        "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


def from_elsewhere(headers: Headers, scheme: str) -> bool:
    """True when an unsafe request was not made by a page of this program.

    Sec-Fetch-Site decides where the browser sends it, else Origin; a request with a cookie and neither is
    refused, since every browser sends one of them with an unsafe request.
    """
    if headers.get("authorization", "").lower().startswith("bearer "):
        return False
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is not None:
        parts = urlsplit(origin)
        return (parts.scheme, parts.netloc) != (scheme, headers.get("host", ""))
    return "cookie" in headers


class OriginGuard:
    """Refuses cross-site writes with 403. Bearer requests are exempt: no browser sends them by itself."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let safe methods and our own pages through."""
        if scope["type"] != "http" or scope["method"] in SAFE_METHODS:
            await self.app(scope, receive, send)
        elif from_elsewhere(Headers(scope=scope), scope["scheme"]):
            refusal = PlainTextResponse(
                "Refused: this request did not come from a page of this program.", 403
            )
            await refusal(scope, receive, send)
        else:
            await self.app(scope, receive, send)


class TooLarge(Exception):
    """The body passed the limit."""


class SizeLimit:
    """Refuses a body above `limit_bytes` with 413, by its stated length or while it arrives."""

    def __init__(self, app: ASGIApp, limit_bytes: Callable[[str], int]) -> None:
        self.app = app
        self.limit_bytes = limit_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Count what arrives."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit = self.limit_bytes(scope["path"])
        stated = Headers(scope=scope).get("content-length", "0")
        if not stated.isdigit() or int(stated) > limit:
            await _too_large(limit)(scope, receive, send)
            return
        started = False

        async def watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, _counted(receive, limit), watched)
        except TooLarge:
            if not started:
                await _too_large(limit)(scope, receive, send)


def _counted(receive: Receive, limit: int) -> Receive:
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit:
            raise TooLarge
        return message

    return counted


def _too_large(limit: int) -> PlainTextResponse:
    return PlainTextResponse(f"Refused: more than {limit // 1_000_000} MB. Send less at once.", 413)


class SecurityHeaders:
    """Adds the headers that keep a page from running or framing anything foreign."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Set the headers on the way out, unless the route set its own."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, with_headers if scope["type"] == "http" else send)
