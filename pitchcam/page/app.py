"""The application: guard, routes, and the processes that measure."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect
from starlette.routing import Mount
from starlette.staticfiles import StaticFiles

from pitchcam.errors import PitchcamError
from pitchcam.page.access import Access
from pitchcam.page.guard import Guard, RefusedRequestError
from pitchcam.page.routes import answers, bench, box, live, pairing, photo, record
from pitchcam.page.runs import Runs
from pitchcam.page.setup import Setup
from pitchcam.page.web import on_error, on_fault, on_gone, on_http, on_refused
from pitchcam.page.workers import Workers
from pitchcam.store.store import Store

#: Photos held in memory at once, on their way to the disk.
_UPLOADS_AT_ONCE = 4
_STATIC = Path(__file__).parent / "static"


def make_app(
    setup: Setup, access: Access | None = None, paired: Callable[[], None] | None = None
) -> Starlette:
    """Return the application.

    Parameters
    ----------
    setup
        Folders, limits and reach.
    access
        Pairing tokens and sessions; in memory by default.
    paired
        Called after a browser was paired and its code is spent.

    Raises
    ------
    PitchcamError
        If the folders or the record cannot be made.
    """
    access = access or Access()
    setup.make_folders()
    Store(setup.record).close()
    limits = setup.limits
    workers = Workers(setup.processes, limits.memory_bytes, limits.waiting)
    eyes = Workers(1, limits.memory_bytes, 4)

    async def warm() -> None:
        await workers.warm()
        await eyes.warm()

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        warming = asyncio.create_task(warm())
        try:
            yield
        finally:
            warming.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await warming
            workers.close()
            eyes.close()

    app = Starlette(
        routes=[
            *photo.ROUTES,
            *answers.ROUTES,
            *box.ROUTES,
            *bench.ROUTES,
            *record.ROUTES,
            *live.ROUTES,
            *pairing.ROUTES,
            Mount("/static", StaticFiles(directory=_STATIC), name="static"),
        ],
        middleware=[Middleware(Guard, setup=setup, access=access)],
        exception_handlers={
            PitchcamError: on_error,
            HTTPException: on_http,
            RefusedRequestError: on_refused,
            ClientDisconnect: on_gone,
            Exception: on_fault,
        },
        lifespan=life,
    )
    app.state.setup, app.state.access = setup, access
    app.state.workers, app.state.eyes = workers, eyes
    app.state.runs = Runs(setup, workers)
    app.state.box_lock, app.state.plot_lock = asyncio.Lock(), asyncio.Lock()
    app.state.upload_slots = asyncio.Semaphore(_UPLOADS_AT_ONCE)
    app.state.paired = paired or (lambda: None)
    app.state.guard_cookie = Guard(app, setup, access).cookie
    return app
