"""The same workers' interface on a Dask cluster: photos travel as bytes, no shared disk is needed.

The scheduler hands a dead worker's photos to the others by itself. Results come back through the
same record as from processes here, so the tables are the same bytes.

Its links carry code: whoever reaches the scheduler or a worker can run anything on them. They
belong on a trusted network. Where they leave it, ``tls://`` addresses are encrypted and let in only
who holds a certificate, as the engine's own settings say (``distributed.comm.tls``).
"""

from __future__ import annotations

import contextlib
import logging
import tempfile
import threading
import time
from concurrent.futures import TimeoutError as FuturesTimeoutError
from dataclasses import replace
from pathlib import Path
from typing import Any

from pitchcam import CORE_REVISION, __version__
from pitchcam.batch.pool import Finished, too_slow
from pitchcam.batch.settings import Job
from pitchcam.batch.worker import Measure, measure_job
from pitchcam.errors import PitchcamError, UsageError
from pitchcam.files import MOST_BYTES, read_whole
from pitchcam.store.entries import Outcome

#: Seconds to wait for the scheduler: a listening one answers within a second.
_CONNECT_S = 10.0
#: Photos under way per worker thread: one in hand and one on its way.
_AHEAD = 2

_LOST = Outcome(
    status="failed",
    code="cluster",
    lasting=False,
    message="the cluster's workers died on this photo.",
    advice="Run it again; if they die again, measure it without --cluster.",
)


class ClusterWorkers:
    """Workers of an existing Dask cluster.

    Parameters
    ----------
    measure
        The measuring function; its module must be installed on the workers.
    address
        The scheduler's address, like ``tcp://host:8786``.
    limit_s
        A photo that takes longer than so many seconds from being handed over, its wait on the
        scheduler included, is given up.

    Raises
    ------
    PitchcamError
        If the package is missing, the scheduler does not answer, or the workers run another
        version of pitchcam.
    """

    def __init__(self, measure: Measure, address: str, *, limit_s: float) -> None:
        self._measure = measure
        self._limit_s = limit_s
        self._client = _connect(address)
        self._in_hand: dict[Any, tuple[Job, float]] = {}
        _check_versions(self._client, address)
        self._done = threading.Event()

    def free(self) -> int:
        """Return how many more photos the cluster can take now; at least one, so that it is fed."""
        threads: int = sum(self._client.nthreads().values())
        return max(1, threads) * _AHEAD - len(self._in_hand)

    def busy(self) -> int:
        """Return the number of photos under way."""
        return len(self._in_hand)

    def submit(self, job: Job) -> None:
        """Send one photo.

        Raises
        ------
        PitchcamError
            If the scheduler is gone.
        InputError
            If the photo is.
        """
        self._check_alive()
        data = read_whole(job.path, MOST_BYTES, advice="send the photo itself")
        # The name on the cluster is the record's key, so that one photo is never sent twice.
        future = self._client.submit(
            measure_bytes, data, job, self._measure, key="pitchcam-" + "-".join(job.key), pure=False
        )
        future.add_done_callback(lambda _: self._done.set())
        self._in_hand[future] = (job, time.monotonic())

    def wait(self, timeout_s: float) -> list[Finished]:
        """Return finished photos, at the latest after ``timeout_s`` seconds."""
        self._done.wait(timeout_s)
        self._done.clear()
        self._check_alive()
        finished = []
        now = time.monotonic()
        for future, (job, since_s) in list(self._in_hand.items()):
            if future.done():
                finished.append(Finished(job=job, outcome=_result(future)))
            elif now - since_s > self._limit_s:
                finished.append(Finished(job=job, outcome=too_slow(self._limit_s)))
                future.cancel()
            else:
                continue
            del self._in_hand[future]
            future.release()
        return finished

    def _check_alive(self) -> None:
        if self._client.status not in ("running", "connecting"):
            raise PitchcamError(
                "the cluster's scheduler is gone; all finished photos are kept.",
                "Start it and run the same command again, or go on without --cluster.",
            )

    def close(self) -> None:
        """Take back what is under way and leave the cluster as it was found."""
        with contextlib.suppress(Exception):  # the scheduler may be gone by now
            self._client.cancel(list(self._in_hand), force=True)
        with contextlib.suppress(Exception):
            self._client.close(timeout=5)


def measure_bytes(data: bytes, job: Job, measure: Measure) -> Outcome:
    """Measure a photo that came as bytes; runs on a worker of the cluster."""
    from pitchcam.batch.worker import use_one_thread

    use_one_thread()
    with tempfile.TemporaryDirectory(prefix="pitchcam-") as folder:
        copy = Path(folder, "photo" + job.path.suffix.lower())
        copy.write_bytes(data)
        return measure_job(replace(job, path=copy), measure)


def _connect(address: str) -> Any:
    try:
        from distributed import Client, Security
    except ImportError as error:
        raise UsageError(
            "--cluster needs one more package.", "Install it: pip install 'pitchcam[cluster]'"
        ) from error
    # Its own log lines on a lost connection are nothing for the terminal: the one line is ours.
    for name in ("distributed", "tornado"):
        logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    options = {"security": Security()} if address.startswith("tls:") else {}  # type: ignore[no-untyped-call]
    try:
        return Client(address, timeout=_CONNECT_S, set_as_default=False, **options)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError, FuturesTimeoutError) as error:
        raise PitchcamError(
            f"no Dask scheduler answers at {address}.", "Check the address, and that it runs."
        ) from error


def _version() -> str:
    return f"{__version__} (core {CORE_REVISION})"


def _check_versions(client: Any, address: str) -> None:
    """Refuse workers of another version: their results would differ under the same key."""
    try:
        versions = client.run(_version)
    except Exception as error:  # a worker without pitchcam cannot even unpickle the question
        client.close(timeout=5)
        raise PitchcamError(
            f"a worker at {address} cannot run pitchcam.", "Install it on every worker."
        ) from error
    other = {v for v in versions.values() if v != _version()}
    if other:
        client.close(timeout=5)
        raise PitchcamError(
            f"a worker at {address} runs pitchcam {other.pop()}, this is {_version()}.",
            "Install the same version on every worker.",
        )


def _result(future: Any) -> Outcome:
    """Return a future's outcome; workers that died on it more often than allowed have none."""
    try:
        outcome: Outcome = future.result(timeout=60)
    except Exception:  # KilledWorker, lost connection: all mean that no result exists
        return _LOST
    return outcome
