"""Photos in hand: each run tells its steps to whoever listens; the record keeps its outcome."""

from __future__ import annotations

import asyncio
import json
import secrets
from collections import OrderedDict
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any

from pitchcam.batch.settings import Job, Settings
from pitchcam.errors import PitchcamError
from pitchcam.page import photos
from pitchcam.page.measuring import Task
from pitchcam.page.photos import Kept
from pitchcam.page.phrases import on_the_page, whole
from pitchcam.page.setup import Setup
from pitchcam.page.workers import BusyError, LostError, Workers
from pitchcam.store.entries import Outcome, record_id
from pitchcam.store.store import Store

#: Finished runs that are remembered for a browser that comes late.
_MOST = 2000
#: A silent line goes out after so long, so that nothing between closes the connection.
_BREATH_S = 15.0


@dataclass
class Run:
    """One photo under one reference, from waiting to its answer.

    ``events`` are (kind, data) in order; the last is ``done`` or ``failed``.
    """

    id: str
    owner: str
    name: str
    record: str
    events: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def tell(self, kind: str, **data: Any) -> None:
        """Add an event and wake who listens."""
        self.events.append((kind, data))
        news, self.news = self.news, asyncio.Event()
        news.set()

    @property
    def over(self) -> bool:
        """Whether the last event is there."""
        return bool(self.events) and self.events[-1][0] in ("done", "failed")

    async def listen(self, after: int = 0) -> AsyncIterator[str]:
        """Yield server-sent events, those before too, until the last."""
        seen = after
        while True:
            news = self.news
            while seen < len(self.events):
                kind, data = self.events[seen]
                seen += 1
                yield f"id: {seen}\nevent: {kind}\ndata: {json.dumps(data)}\n\n"
            if self.over:
                return
            try:
                await asyncio.wait_for(news.wait(), _BREATH_S)
            except TimeoutError:
                yield ": waiting\n\n"


class Runs:
    """All runs of one server.

    Parameters
    ----------
    setup
        Limits, folders and record.
    workers
        Who measures.
    """

    def __init__(self, setup: Setup, workers: Workers) -> None:
        self._setup, self._workers = setup, workers
        self._runs: OrderedDict[str, Run] = OrderedDict()
        self._tasks: set[asyncio.Task[None]] = set()

    def start(self, owner: str, photo: Kept, settings: Settings) -> Run:
        """Start measuring a photo, or find its answer in the record."""
        job = Job(path=photo.path, name=photo.name, sha256=photo.sha256, settings=settings)
        run = Run(
            id=secrets.token_urlsafe(12), owner=owner, name=photo.name, record=record_id(*job.key)
        )
        self._runs[run.id] = run
        self._forget()
        task = asyncio.create_task(self._measure(run, photo, job))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return run

    def find(self, run_id: str, owner: str) -> Run | None:
        """Return a browser's own run."""
        run = self._runs.get(run_id)
        return run if run is not None and run.owner == owner else None

    def _forget(self) -> None:
        over = [key for key, run in self._runs.items() if run.over]
        for key in over[: max(0, len(self._runs) - _MOST)]:
            del self._runs[key]

    async def _measure(self, run: Run, photo: Kept, job: Job) -> None:
        try:
            if await asyncio.to_thread(self._known, run, job):
                run.tell("done", address=f"/answers/{run.record}")
                return
            if self._workers.waiting():
                run.tell("step", text="waiting for its turn")
            task = Task(
                job=job,
                view=self._setup.views / run.record,
                megapixels=self._setup.limits.megapixels,
                lenses=self._setup.lenses,
            )
            limit_s = self._setup.limits.photo_s
            outcome: Outcome = await self._workers.run(
                run.owner, task, lambda text: run.tell("step", text=text), limit_s
            )
            await self._keep(run, photo, job, outcome)
        except BusyError:
            run.tell("failed", message="Too many photos wait.", advice="Send it again in a minute.")
        except LostError as lost:
            photos.drop(photo)
            why = "long." if lost.slow else "much memory, or breaks the reader of photos."
            run.tell(
                "failed",
                message=f"This photo cannot be measured: it takes too {why}",
                advice="Send it again from the camera, at the camera's normal size.",
            )
        except PitchcamError as error:
            run.tell("failed", message=whole(error.message), advice=error.advice)
        except Exception:  # one photo never stops the page
            run.tell("failed", message="The measurement broke off.", advice="Send it again.")
            raise

    async def _keep(self, run: Run, photo: Kept, job: Job, outcome: Outcome) -> None:
        if outcome.status == "failed":
            if outcome.code in ("error", "fault"):
                photos.drop(photo)
            message, advice = outcome.message, outcome.advice
            if outcome.code == "fault":
                # What a library said of its own failure is for the log, not for a page.
                message, advice = "The measurement broke off on this photo.", "Take it again."
            run.tell("failed", message=whole(on_the_page(message)), advice=on_the_page(advice))
            return
        await asyncio.to_thread(self._add, job, outcome)
        run.tell("done", address=f"/answers/{run.record}")

    def _known(self, run: Run, job: Job) -> bool:
        """Say whether the record has the answer and the page its view."""
        with Store(self._setup.record) as store:
            there = store.has(*job.key)
            if there:
                store.saw(job.sha256, job.name)
        return there and (self._setup.views / run.record / "view.json").exists()

    def _add(self, job: Job, outcome: Outcome) -> None:
        with Store(self._setup.record) as store:
            store.add(job.sha256, job.settings.text, job.settings.key, outcome, [job.name])
