"""What every page does: its template, its errors in plain words, and the guard of each change."""

from __future__ import annotations

import re
import sys
import traceback
from collections.abc import Awaitable, Callable, Mapping
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from pitchcam.errors import (
    Exit,
    InputError,
    PitchcamError,
    RefusedError,
    UnreadableError,
    UsageError,
)
from pitchcam.page.access import Access
from pitchcam.page.guard import RefusedRequestError
from pitchcam.page.phrases import on_the_page, whole
from pitchcam.page.setup import Setup
from pitchcam.records import json_text
from pitchcam.records.formats import document
from pitchcam.report.verdicts import candidates_words, steps
from pitchcam.version import __version__

Handler = Callable[[Request], Awaitable[Response]]
Change = Callable[[Request, dict[str, Any]], Awaitable[Response]]

#: Where the navigation leads: address, word.
PLACES = (
    ("/", "Photo"),
    ("/live", "Live"),
    ("/box", "Box"),
    ("/bench", "Bench"),
    ("/record", "Record"),
)
_MOST_FIELDS = 60
#: Anything that looks like a place on the disk: two or more steps of a path.
_PATH = re.compile(r"(?<![\w/.-])(?:[A-Za-z]:)?(?:[/\\][\w.@+-]+){2,}[/\\]?")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("pitchcam.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.filters["plain"] = on_the_page
    environment.filters["chances"] = candidates_words
    environment.filters["steps"] = steps
    environment.filters["whole"] = whole
    environment.filters["start"] = lambda text: text[:1].upper() + text[1:]
    return environment


def setup_of(request: Request) -> Setup:
    """Return the server's setup."""
    setup: Setup = request.app.state.setup
    return setup


def session_of(request: Request) -> str:
    """Return the browser's session; the guard has seen to it that there is one."""
    session: str = request.scope["session"]
    return session


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Return a page from its template."""
    access: Access = request.app.state.access
    session = request.scope.get("session")
    html = (
        _environment()
        .get_template(template)
        .render(
            token=access.change_token(session) if session else "",
            places=PLACES,
            here=request.url.path,
            version=__version__,
            lan=setup_of(request).lan,
            **values,
        )
    )
    return HTMLResponse(html, status_code=status)


def plain_words(request: Request, text: str) -> str:
    """Return a message without any path of this machine."""
    for private, words in setup_of(request).private():
        text = text.replace(private, words)
    return on_the_page(_PATH.sub("the file", text))


def wants_json(request: Request) -> bool:
    """Say whether a script asks, not a person."""
    return "application/json" in request.headers.get("accept", "")


def reply(name: str, keys: Mapping[str, Any], status: int = 200) -> Response:
    """Return a document, with its format key, to a script."""
    return json_reply(document(name, keys), status)


def json_reply(whole: Mapping[str, Any], status: int = 200) -> Response:
    """Return a whole document as strict JSON."""
    return Response(json_text(whole), status, media_type="application/json")


def told(request: Request, error: PitchcamError, status: int | None = None) -> Response:
    """Return an error as a page, or as JSON for a script: what is wrong, and what to do."""
    message = whole(plain_words(request, error.message))
    advice = plain_words(request, error.advice)
    code = status or _status(error)
    if wants_json(request):
        return reply("refusal", {"message": message, "advice": advice}, code)
    return page(request, "error.html", code, message=message, advice=advice)


def _status(error: PitchcamError) -> int:
    if isinstance(error, (UsageError, InputError)):
        return 400
    if isinstance(error, (UnreadableError, RefusedError)):
        return 422
    return 400 if error.exit_code == Exit.USAGE else 500


def missing(what: str, advice: str = "Look in the record.") -> PitchcamError:
    """Return the error of something that is not here."""
    return InputError(f"There is no such {what}.", advice, code="missing")


def get(path: str, handler: Handler) -> Route:
    """Return the route of a page that changes nothing."""
    return Route(path, handler, methods=["GET"])


def post(path: str, change: Change) -> Route:
    """Return the route of a change: its form is read within limits and must carry the token."""

    async def guarded(request: Request) -> Response:
        access: Access = request.app.state.access
        sent = request.headers.get("x-token")
        if sent is not None and not access.allows_change(session_of(request), sent):
            raise RefusedRequestError(403, "This page is too old. Load it again.")
        try:
            form = await request.form(max_files=1, max_fields=_MOST_FIELDS, max_part_size=64 * 1024)
        except (MultiPartException, HTTPException):
            raise RefusedRequestError(400, "The form cannot be read. Load it again.") from None
        async with form_closed(form):
            typed: dict[str, Any] = dict(form)
            if sent is None and not access.allows_change(
                session_of(request), str(typed.get("token", ""))
            ):
                raise RefusedRequestError(403, "This page is too old. Load it again.")
            return await change(request, typed)

    return Route(path, guarded, methods=["POST"])


class form_closed:  # noqa: N801 - reads as a statement
    """Closes the form's files however the change ends."""

    def __init__(self, form: Any) -> None:
        self._form = form

    async def __aenter__(self) -> None:
        return None

    async def __aexit__(self, *failure: object) -> None:
        await self._form.close()


def texts(typed: Mapping[str, Any]) -> dict[str, str]:
    """Return the fields of a form or an address that are text."""
    return {k: v for k, v in typed.items() if isinstance(v, str)}


def seen(address: str) -> RedirectResponse:
    """Return the way on after a change."""
    return RedirectResponse(address, status_code=303)


async def on_error(request: Request, error: Exception) -> Response:
    """Tell an error of ours."""
    assert isinstance(error, PitchcamError)
    return told(request, error, 404 if error.code == "missing" else None)


async def on_http(request: Request, error: Exception) -> Response:
    """Tell that there is no such page."""
    assert isinstance(error, HTTPException)
    words = {404: "There is no such page.", 405: "That cannot be done here."}
    line = words.get(error.status_code, "That cannot be done.")
    return told(request, InputError(line, "Go back to the start."), error.status_code)


async def on_refused(request: Request, error: Exception) -> Response:
    """Tell in one line that a request is not taken, and hang up: more of it may be coming."""
    assert isinstance(error, RefusedRequestError)
    return PlainTextResponse(error.line + "\n", error.status, headers={"connection": "close"})


async def on_gone(request: Request, error: Exception) -> Response:
    """Answer nobody: the browser hung up in the middle of its request."""
    return PlainTextResponse("", 400)


async def on_fault(request: Request, error: Exception) -> Response:
    """Tell that the program failed, and no more; the terminal gets the rest."""
    traceback.print_exception(error, file=sys.stderr)
    return told(
        request,
        InputError(
            "That went wrong here, not with you.", "Try again; if it stays, restart the page."
        ),
        500,
    )
