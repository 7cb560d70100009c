"""The batch: photos in, outcomes kept one by one, stopped and started again at will."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from pitchcam.batch.follow import Folder
from pitchcam.batch.pool import Finished, Workers
from pitchcam.batch.settings import Job
from pitchcam.batch.source import Listed
from pitchcam.batch.worker import pictures_of
from pitchcam.errors import InputError
from pitchcam.store.entries import Entry, Outcome, record_id
from pitchcam.store.store import Store

#: How long to wait for a worker before the folder or the clock is looked at again, in seconds.
_BEAT_S = 0.5

#: Code of a file that could not even be opened.
UNREAD = "unread"
#: Codes of what an upload that has not ended may come to: a damaged file, or a changing one.
_MAY_BE_HALF = ("error", "changed")

#: Called with every photo that is answered: its job, its outcome, and whether it was kept before.
Tell = Callable[[Job, Outcome, bool], None]


@dataclass
class Batch:
    """What a run has come to so far.

    ``jobs`` holds the photos by name, as last seen; ``passing`` those whose outcome is not kept
    because another try may go better; ``unread`` the files that could not even be opened.
    """

    jobs: dict[str, Job] = field(default_factory=dict)
    passing: dict[str, Outcome] = field(default_factory=dict)
    unread: dict[str, str] = field(default_factory=dict)


class Runner:
    """Feeds workers, keeps what they return, and never hands out a photo that is kept already.

    Parameters
    ----------
    store
        The record.
    workers
        Where photos are measured.
    tell
        Called with each answer, in the order in which answers come.
    """

    def __init__(self, store: Store, workers: Workers, tell: Tell) -> None:
        self.batch = Batch()
        self._store = store
        self._workers = workers
        self._tell = tell
        self._in_hand: dict[tuple[str, str], list[Job]] = {}
        #: Files that may be half an upload, with what they came to, by name.
        self._waiting: dict[str, tuple[Job, Outcome]] = {}

    def run(self, photos: Iterable[Listed], meanwhile: Callable[[], None] | None = None) -> Batch:
        """Measure all photos that are not yet in the record.

        ``meanwhile`` is called once, when the workers have all that they can take.

        Raises
        ------
        FullError
            If the disk is full: everything finished before is kept.
        """
        for photo in photos:
            # Its bytes are looked through while others are measured, and a worker has it before
            # what came back goes to the disk: no worker waits for either. Nothing that came back
            # stays in memory longer, or a kill would lose it beside what is in hand.
            job = self._job(photo)
            if job is None or self._known(job):
                continue
            finished: list[Finished] = []
            try:
                while self._workers.free() <= 0:
                    if meanwhile is not None:
                        meanwhile()
                        meanwhile = None
                    finished += self._workers.wait(_BEAT_S)
                self._hand_over(photo, job)
            finally:
                self._keep_all(finished)
        if meanwhile is not None:
            meanwhile()
        while self._workers.busy():
            self._collect()
        return self.batch

    def follow(self, folder: Folder, *, idle_s: float | None, rested: Callable[[], None]) -> Batch:
        """Measure what comes into a folder, until interrupted or ``idle_s`` without a change.

        ``rested`` is called each time that everything there is has been answered.
        """
        told = True
        while True:
            for photo in folder.look():
                self._take_up(photo)
                told = False
                while self._workers.free() <= 0:
                    self._collect(folder)
            if self._workers.busy():
                self._collect(folder)
                continue
            if not told:
                rested()
                told = True
            idle = time.monotonic() - folder.last_change_s
            if idle_s is not None and idle > idle_s and not folder.settling():
                return self.batch
            time.sleep(_BEAT_S)

    def end_follow(self, folder: Folder) -> None:
        """Answer what waits for more bytes, and note what never came to rest or went away.

        To be called when a watch has ended, however it ended: every photo that was ever seen then
        stands in a table.
        """
        for name, (job, outcome) in sorted(self._waiting.items()):
            if name not in folder.vanished:
                self._store.add(job.sha256, job.settings.text, job.settings.key, outcome, [name])
                self._answer(job, outcome)
        self._waiting.clear()
        for name, why in folder.unfinished():
            if name not in self.batch.jobs:
                self.batch.unread[name] = why

    def _take_up(self, photo: Listed) -> None:
        """Hand a photo to the workers, unless it is kept already or the same bytes are in hand."""
        job = self._job(photo)
        if job is not None and not self._known(job):
            self._hand_over(photo, job)

    def _job(self, photo: Listed) -> Job | None:
        """Return what is to be done of a photo, None where it cannot be read."""
        try:
            job = photo.job()
        except InputError as error:
            self._unread(photo, error)
            return None
        self.batch.jobs[job.name] = job
        self.batch.unread.pop(job.name, None)
        return job

    def _known(self, job: Job) -> bool:
        """Whether a job is answered already, or will be with the same bytes that are in hand."""
        if self._store.has(*job.key):
            self._answer(job, None)
            return True
        if job.key in self._in_hand:
            self._in_hand[job.key].append(job)
            return True
        return False

    def _hand_over(self, photo: Listed, job: Job) -> None:
        self._in_hand[job.key] = [job]
        try:
            self._workers.submit(job)
        except InputError as error:  # it went away just now
            del self._in_hand[job.key]
            self._unread(photo, error)

    def _unread(self, photo: Listed, error: InputError) -> None:
        self.batch.jobs.pop(photo.name, None)
        self.batch.unread[photo.name] = str(error)
        lost = Outcome(
            status="failed", code=UNREAD, message=error.message, advice=error.advice, lasting=False
        )
        job = Job(path=photo.path, name=photo.name, sha256="", settings=photo.settings)
        self._tell(job, lost, False)

    def _collect(self, folder: Folder | None = None) -> None:
        self._keep_all(list(self._workers.wait(_BEAT_S)), folder)

    def _keep_all(self, finished: list[Finished], folder: Folder | None = None) -> None:
        """Keep each of what came back, and take it off the list."""
        while finished:
            self._keep(finished.pop(0), folder)

    def _keep(self, finished: Finished, folder: Folder | None) -> None:
        job, outcome = finished.job, finished.outcome
        jobs = self._in_hand.pop(job.key)
        # A file that does not open may be half an upload; a fault of the program is none.
        unusable = outcome.status == "failed" and outcome.code in _MAY_BE_HALF
        if folder is not None and unusable:
            # The same bytes may lie under several names, each an upload of its own.
            half = [same for same in jobs if folder.may_be_incomplete(same.name)]
            for same in half:
                self._waiting[same.name] = (same, replace(outcome, lasting=False))
            jobs = [same for same in jobs if same not in half]
            if not jobs:
                return
        for same in jobs:
            self._waiting.pop(same.name, None)
        # What is to be tried again is kept as well, so that nothing that was seen is lost.
        names = [same.name for same in jobs]
        self._store.add(job.sha256, job.settings.text, job.settings.key, outcome, names)
        for same in jobs:
            self._answer(same, outcome)

    def _answer(self, job: Job, outcome: Outcome | None) -> None:
        """Tell of a photo; ``outcome`` is None for what was kept before."""
        self.batch.passing.pop(job.name, None)
        if outcome is not None:
            if not outcome.lasting:
                self.batch.passing[job.name] = outcome
            self._tell(job, outcome, False)
            return
        self._store.saw(job.sha256, job.name)
        entry = self._store.entry(record_id(*job.key))
        if entry is not None:
            self._mend_pictures(job, entry)
            self._tell(job, entry.outcome, True)

    def _mend_pictures(self, job: Job, entry: Entry) -> None:
        """Make the small pictures that are missing where the photo was away after measuring."""
        if entry.outcome.status == "failed" or self._store.has_pictures(entry.id):
            return
        pictures = pictures_of(job, entry.outcome.document or {})
        if pictures:
            self._store.add_pictures(entry.id, pictures)
