"""One call of ``pitchcam batch``: record, workers, progress and answer put together."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from pitchcam.batch.answer import Answer, make_answer, write_tables
from pitchcam.batch.follow import Folder, Patience
from pitchcam.batch.pool import LocalWorkers, Workers
from pitchcam.batch.progress import Progress
from pitchcam.batch.runner import Runner, Tell
from pitchcam.batch.settings import Job, Settings
from pitchcam.batch.source import Listed
from pitchcam.batch.worker import Measure, identify_photo
from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store


@dataclass(frozen=True, kw_only=True)
class Setup:
    """Where a batch keeps and writes, and with what it measures.

    ``limit_s`` is the time after which a photo is given up; ``cluster`` the address of a Dask
    scheduler, or None for processes on this machine.
    """

    record: Path
    out: Path
    processes: int
    limit_s: float
    cluster: str | None = None
    sheets: bool = True
    measure: Measure = identify_photo

    def make_folder(self) -> None:
        """Make the folder for the answer, before any work is done.

        Raises
        ------
        UsageError
            If it cannot be made.
        """
        try:
            self.out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise UsageError(
                f"the folder {self.out} cannot be made: {error.strerror}.", "Name another --out."
            ) from error

    @contextmanager
    def workers(self) -> Iterator[Workers]:
        """Give the workers, and stop them at the end however it comes."""
        workers: Workers
        if self.cluster is None:
            workers = LocalWorkers(self.measure, self.processes, limit_s=self.limit_s)
        else:
            from pitchcam.batch.cluster import ClusterWorkers

            workers = ClusterWorkers(self.measure, self.cluster, limit_s=self.limit_s)
        try:
            yield workers
        finally:
            workers.close()


def run_batch(setup: Setup, photos: Sequence[Listed], tell: Tell) -> Answer:
    """Measure listed photos and write the answer.

    Raises
    ------
    FullError
        If the disk is full; everything finished is kept, and the next run goes on from there.
    """
    setup.make_folder()
    with Store(setup.record) as store, setup.workers() as workers:
        with Progress(len(photos)) as progress:
            runner = Runner(store, workers, _both(tell, progress.tell))
            batch = runner.run(photos, _load_sheets if setup.sheets else None)
            progress.close_line()
        return _write(setup, store, make_answer(store, batch))


def _load_sheets() -> None:
    """Load all that the sheets need while the workers measure: it takes as long as a photo."""
    from PIL import Image

    import pitchcam.batch.contact
    import pitchcam.batch.labels  # noqa: F401
    from pitchcam.paper import embed_fonts
    from pitchcam.series import load_series

    Image.preinit()
    embed_fonts()
    load_series()


def follow_folders(
    setup: Setup,
    places: list[Path],
    settings: Settings,
    tell: Tell,
    *,
    idle_s: float | None,
    patience: Patience | None = None,
) -> Answer:
    """Measure what comes into folders until interrupted, or until nothing came for ``idle_s``."""
    setup.make_folder()
    folder = Folder(places, settings, patience or Patience())
    with Store(setup.record) as store, setup.workers() as workers, Progress(None) as progress:
        runner = Runner(store, workers, _both(tell, progress.tell))

        def write() -> None:
            _write(setup, store, make_answer(store, runner.batch))

        with suppress(KeyboardInterrupt):  # the usual way to end it
            runner.follow(folder, idle_s=idle_s, rested=write)
        runner.end_follow(folder)
        return _write(setup, store, make_answer(store, runner.batch))


def _both(first: Tell, second: Callable[[Job, Outcome, bool], None]) -> Tell:
    def tell(job: Job, outcome: Outcome, kept_before: bool) -> None:
        second(job, outcome, kept_before)
        first(job, outcome, kept_before)

    return tell


def _write(setup: Setup, store: Store, answer: Answer) -> Answer:
    write_tables(answer, setup.out)
    if setup.sheets and answer.lines:
        from pitchcam.batch.contact import write_contact_sheet
        from pitchcam.batch.labels import write_labels

        write_contact_sheet(answer, store, setup.out / "contact-sheet.pdf")
        write_labels(answer, setup.out / "labels.pdf")
    return answer
