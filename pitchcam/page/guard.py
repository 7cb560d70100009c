"""What stands before every page: hosts, pairing, limits of bytes and time, headers.

Plain ASGI, so that the body is counted while it comes in and nothing is buffered here.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from typing import Any
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from pitchcam.page.access import COOKIE, SECURE_COOKIE, Access
from pitchcam.page.setup import Limits, Setup

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; media-src 'self' blob:; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
#: A drawn plot carries its own style; opened by itself it may do nothing else.
DRAWING_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
    "cache-control": "no-store",
}
#: Paths under which the body may be as large as a photo.
UPLOADS = ("/photos", "/live/frame")
#: The only paths that an unpaired browser reaches: the pairing and the page's look.
_OPEN = ("/pair/", "/static/look.css")
_SAFE = ("GET", "HEAD")
#: How long an early answer waits for a body that is still coming in.
_DRAIN_S = 3.0


class RefusedRequestError(Exception):
    """A request that is answered with one plain line and no more."""

    def __init__(self, status: int, line: str) -> None:
        super().__init__(line)
        self.status, self.line = status, line


class Guard:
    """Checks each request before the page sees it, and puts the headers on each answer."""

    def __init__(self, app: ASGIApp, setup: Setup, access: Access) -> None:
        self._app, self._setup, self._access = app, setup, access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        started = False
        fresh: list[str] = []
        body = _Body(scope, receive, self._setup.limits)

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                await body.drain()
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                if fresh:
                    headers.append("set-cookie", self.cookie(fresh[0]))
            await send(message)

        try:
            self._admit(scope, fresh)
            scope["state"] = {**scope.get("state", {}), "access": self._access}
            body.check()
            await self._app(scope, body.receive, send_with_headers)
        except RefusedRequestError as refused:
            if not started:
                await _plain(send_with_headers, refused.status, refused.line)

    def cookie(self, session: str) -> str:
        """Return the cookie that carries a session."""
        name = SECURE_COOKIE if self._setup.lan else COOKIE
        secure = "; Secure" if self._setup.lan else ""
        return f"{name}={session}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000{secure}"

    def _admit(self, scope: Scope, fresh: list[str]) -> None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        name = host.rsplit(":", 1)[0] if not host.endswith("]") else host
        if name not in self._setup.hosts:
            raise RefusedRequestError(421, "This server has another name.")
        if scope["method"] not in _SAFE:
            _same_site(headers, scope["scheme"], host)
        cookies = cookie_parser(headers.get("cookie", ""))
        session = cookies.get(SECURE_COOKIE if self._setup.lan else COOKIE)
        if not self._access.knows(session):
            session = None
            if not self._setup.lan:
                session = self._access.open("this computer")
                fresh.append(session)
            elif not scope["path"].startswith(_OPEN):
                raise RefusedRequestError(
                    401, "This browser is not paired. Scan the code that the server shows."
                )
        scope["session"] = session


class _Body:
    """A request's body, counted and timed while it comes in."""

    def __init__(self, scope: Scope, receive: Receive, limits: Limits) -> None:
        self._receive, self._limits = receive, limits
        large = scope["path"].startswith(UPLOADS)
        self._most = limits.upload_bytes if large else limits.form_bytes
        self._stated = Headers(scope=scope).get("content-length", "0")
        self._seen, self._until = 0, time.monotonic() + limits.upload_s
        self._whole = scope["method"] in _SAFE

    def check(self) -> None:
        """Refuse a body that says itself that it is too large."""
        if not self._stated.isdigit() or int(self._stated) > self._most:
            self._whole = True  # it is not worth the reading
            raise self._too_large()

    async def receive(self) -> Message:
        """Return the next message; end the request when its body is too large or too slow."""
        if self._whole:  # what comes after it is the end of the connection, whenever that is
            return await self._receive()
        left = min(self._limits.chunk_s, self._until - time.monotonic())
        try:
            message = await asyncio.wait_for(self._receive(), max(0.0, left))
        except TimeoutError:
            self._whole = True
            raise RefusedRequestError(408, "The upload was too slow; send it again.") from None
        if message["type"] == "http.request":
            self._seen += len(message.get("body", b""))
            self._whole = not message.get("more_body", False)
        else:
            self._whole = True
        if self._seen > self._most:
            self._whole = True
            raise self._too_large()
        return message

    async def drain(self) -> None:
        """Read on a little before an early answer: who still sends does not hear it otherwise."""
        self._until = min(self._until, time.monotonic() + _DRAIN_S)
        with contextlib.suppress(RefusedRequestError):
            while not self._whole:
                await self.receive()

    def _too_large(self) -> RefusedRequestError:
        return RefusedRequestError(413, f"More than {self._most / 1e6:.0f} MB is not taken.")


def _same_site(headers: Headers, scheme: str, host: str) -> None:
    """Refuse a change that another site's page asks for."""
    origin = headers.get("origin")
    if origin is not None:
        parts = urlsplit(origin)
        if (parts.scheme, parts.netloc) != (scheme, host):
            raise RefusedRequestError(403, "Another site may change nothing here.")
    elif headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        raise RefusedRequestError(403, "Another site may change nothing here.")


async def _plain(send: Send, status: int, line: str) -> None:
    body = (line + "\n").encode()
    start: dict[str, Any] = {
        "type": "http.response.start",
        "status": status,
        "headers": [
            (b"content-type", b"text/plain; charset=utf-8"),
            (b"content-length", str(len(body)).encode()),
            (b"connection", b"close"),
        ],
    }
    await send(start)
    await send({"type": "http.response.body", "body": body})
