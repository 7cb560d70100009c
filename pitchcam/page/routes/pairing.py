"""Pairing: a code that pairs one browser and then is spent, and the browsers that are paired."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from urllib.parse import urlsplit

from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from pitchcam.errors import InputError
from pitchcam.page.web import get, missing, page, post, seen, setup_of, texts


async def offer(request: Request) -> Response:
    """Show the button that pairs; opening the address alone spends nothing."""
    code = request.path_params["code"]
    if not request.app.state.access.offered(code):
        return page(request, "pair.html", 403, code=None)
    return page(request, "pair.html", code=code)


async def pair(request: Request) -> Response:
    """Pair this browser and spend the code. The code itself is what guards this change."""
    state = request.app.state
    session = state.access.pair(request.path_params["code"], datetime.now().astimezone())
    if session is None:
        return page(request, "pair.html", 403, code=None)
    answer = seen("/")
    answer.headers.append("set-cookie", state.guard_cookie(session))
    state.paired()
    return answer


async def browsers(request: Request) -> Response:
    """Show the paired browsers."""
    found = request.app.state.access.browsers()
    return page(request, "browsers.html", browsers=found, code=None, address=None)


async def more(request: Request, form: dict[str, Any]) -> Response:
    """Show a code for one more browser."""
    import segno

    if not setup_of(request).lan:
        raise InputError("This page is open to this computer only.", "Start it with --lan.")
    parts = urlsplit(str(request.url))
    address = f"{parts.scheme}://{parts.netloc}/pair/{request.app.state.access.offer()}"
    code = segno.make(address, error="m").svg_inline(scale=6, border=4, dark="#000", light="#fff")
    found = request.app.state.access.browsers()
    return page(request, "browsers.html", browsers=found, code=code, address=address)


async def forget(request: Request, form: dict[str, Any]) -> Response:
    """Forget a browser: it has to pair again."""
    if not request.app.state.access.forget(texts(form).get("mark", "")):
        raise missing("browser", "Load the list again.")
    return seen("/browsers")


ROUTES = [
    get("/pair/{code}", offer),
    Route("/pair/{code}", pair, methods=["POST"]),
    get("/browsers", browsers),
    post("/browsers/more", more),
    post("/browsers/forget", forget),
]
