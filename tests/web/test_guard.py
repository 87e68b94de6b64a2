"""Origin guard, size limit and headers, before any route."""

from collections.abc import AsyncIterator

import anyio
import httpx
import pytest
from fastapi import FastAPI, Request
from starlette.middleware import Middleware

from server.web import guard


def ask(
    method: str, headers: dict[str, str], content: bytes | None = None, chunked: bool = False
) -> httpx.Response:
    app = FastAPI(
        middleware=[
            Middleware(guard.SecurityHeaders),
            Middleware(guard.OriginGuard),
            Middleware(guard.SizeLimit, limit_bytes=lambda _path: 1000),
        ]
    )

    @app.api_route("/", methods=["GET", "POST", "PUT", "DELETE"])
    async def here(request: Request) -> int:
        return len(await request.body())

    async def pieces() -> AsyncIterator[bytes]:
        for start in range(0, len(content or b""), 300):
            yield (content or b"")[start : start + 300]

    async def go() -> httpx.Response:
        transport = httpx.ASGITransport(app)
        async with httpx.AsyncClient(transport=transport, base_url="http://books.test") as client:
            body = pieces() if chunked else content
            return await client.request(method, "/", headers=headers, content=body)

    return anyio.run(go)


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE"])
@pytest.mark.parametrize(
    "headers",
    [
        {"cookie": "a=b", "sec-fetch-site": "cross-site"},
        {"cookie": "a=b", "sec-fetch-site": "same-site"},
        {"cookie": "a=b", "origin": "http://elsewhere.test"},
        {"cookie": "a=b", "origin": "https://books.test"},
        {"cookie": "a=b", "origin": "null"},
        {"cookie": "a=b"},
        {"sec-fetch-site": "cross-site"},
        {"cookie": "a=b", "sec-fetch-site": "cross-site", "origin": "http://books.test"},
    ],
)
def test_a_write_from_elsewhere_is_refused(method: str, headers: dict[str, str]) -> None:
    assert ask(method, headers).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"cookie": "a=b", "sec-fetch-site": "same-origin"},
        {"cookie": "a=b", "sec-fetch-site": "none"},
        {"cookie": "a=b", "origin": "http://books.test"},
        {"authorization": "Bearer abc", "sec-fetch-site": "cross-site"},
        {},
    ],
)
def test_our_own_pages_and_bearer_requests_pass(headers: dict[str, str]) -> None:
    assert ask("POST", headers).status_code == 200


def test_reading_is_never_refused() -> None:
    assert ask("GET", {"cookie": "a=b", "sec-fetch-site": "cross-site"}).status_code == 200


@pytest.mark.parametrize("chunked", [False, True])
def test_a_body_above_the_limit_is_refused(chunked: bool) -> None:
    assert ask("POST", {}, b"x" * 1000, chunked).status_code == 200
    assert ask("POST", {}, b"x" * 1001, chunked).status_code == 413


def test_a_lying_length_is_refused() -> None:
    assert ask("POST", {"content-length": "-5"}, b"x").status_code == 413


def test_no_page_may_run_or_frame_anything_foreign() -> None:
    policy = ask("GET", {}).headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
