"""Measuring one photo inside a worker process: whatever happens becomes an outcome, not a crash."""

from __future__ import annotations

import errno
import hashlib
import json
import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pitchcam.batch.settings import Job, Settings
from pitchcam.errors import InnerFaultError, InputError, PitchcamError, UnreadableError
from pitchcam.records import json_text
from pitchcam.store.entries import Outcome

if TYPE_CHECKING:
    from pitchcam.photo.record import Pixels

#: Photo and settings in, the contract's document out. It must be a module-level function, since
#: worker processes import it by name.
Measure = Callable[[Path, Settings], dict[str, Any]]

#: Operating system errors that say nothing about the photo itself: memory, handles, disk, network
#: share. (numbers by name, errno(3))
_PASSING = (errno.ENOMEM, errno.EMFILE, errno.ENFILE, errno.ENOSPC, errno.EIO, errno.ESTALE)


#: The photo that was opened last, at a quarter of its size: its small pictures are made of it.
_opened: dict[Path, Pixels] = {}


def identify_photo(path: Path, settings: Settings) -> dict[str, Any]:
    """Measure a photo with :func:`pitchcam.identify`; the default of every batch."""
    import pitchcam
    from pitchcam.batch.pictures import coarse_enough

    _opened.clear()
    photo = pitchcam.load_photo(path)
    coarse = coarse_enough(photo)
    if coarse is not None:
        _opened[path] = coarse
    measurement = pitchcam.identify(
        photo, settings.scale, cast=settings.cast, shrinkage=settings.shrinkage, plots=False
    )
    document: dict[str, Any] = measurement.to_json()
    return document


def use_one_thread() -> None:
    """Keep this process to one core: a batch runs one process per core."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[name] = "1"
    import cv2

    cv2.setNumThreads(1)


#: Parameters of glibc's mallopt(3): from what size on memory is asked of the system for each piece,
#: and how much unused memory is given back; and the sizes, which a usual photo does not reach.
_MMAP_THRESHOLD, _TRIM_THRESHOLD = -3, -1
_PIECE_BYTES, _UNUSED_BYTES = 1 << 30, 1 << 29


def keep_memory() -> None:
    """Keep the memory that a photo frees for the next one, where the C library lets that be told.

    Memory that comes fresh from the system is cleared page by page, which takes a twentieth of the
    time of a photo. A process holds no more than the largest photo needed.
    """
    import ctypes

    with suppress(AttributeError, OSError, TypeError):  # another library than glibc
        tell = ctypes.CDLL(None).mallopt
        tell(_MMAP_THRESHOLD, _PIECE_BYTES)
        tell(_TRIM_THRESHOLD, _UNUSED_BYTES)


def measure_job(job: Job, measure: Measure) -> Outcome:
    """Measure one photo and make its small pictures.

    Returns
    -------
    Outcome
        ``measured``, ``refused`` or ``failed``; ``lasting`` is False where another try may go
        better (memory, disk, a file that changes while it is read, a fault of the program).
    """
    try:
        document = json.loads(json_text(measure(job.path, job.settings)))
    except InnerFaultError as error:
        return _outcome("failed", error, job, lasting=False)
    except UnreadableError as error:
        return _outcome("refused", error, job)
    except InputError as error:
        return _outcome("failed", error, job, lasting=_unchanged(job))
    except PitchcamError as error:
        return _outcome("failed", error, job)
    except MemoryError:
        return _passing("out-of-memory", "memory ran out.", "Run it again with fewer --jobs.")
    except OSError as error:
        if error.errno in _PASSING:
            return _passing("system", f"{error.strerror}.", "Run it again.")
        return _fault(error, job.path)
    except Exception as error:  # one bad photo never stops the rest
        return _fault(error, job.path)
    if document["photo"]["sha256"] != job.sha256:
        return _passing("changed", "the file changed while it was read.", "Run it again.")
    # A part that failed as nobody foresaw may fare better in another version or another try.
    whole = all(warning["code"] != "fault" for warning in document["warnings"])
    return Outcome(
        status="measured", document=document, thumbnails=pictures_of(job, document), lasting=whole
    )


def _outcome(status: Any, error: PitchcamError, job: Job, *, lasting: bool = True) -> Outcome:
    pictures = pictures_of(job, {}) if status == "refused" else {}
    return Outcome(
        status=status,
        code=error.code,
        message=_nameless(error.message, job.path),
        advice=_nameless(error.advice, job.path),
        lasting=lasting,
        thumbnails=pictures,
    )


def _nameless(text: str, path: Path) -> str:
    """Take the file's name out of a message: the same bytes may lie elsewhere by another name."""
    plain = text.replace(str(path), "the photo").replace(path.name, "the photo")
    return "The" + plain[3:] if plain.startswith("the photo") else plain


def _passing(code: str, message: str, advice: str) -> Outcome:
    return Outcome(status="failed", code=code, message=message, advice=advice, lasting=False)


def _fault(error: Exception, path: Path) -> Outcome:
    """Return a fault of the program itself as one line; the photo is told apart by its name."""
    text = " ".join(_nameless(str(error), path).split())[:200]
    return Outcome(
        status="failed",
        code="fault",
        message=f"the measurement broke off ({type(error).__name__}: {text}).",
        advice="Keep the photo and report it.",
        lasting=False,
    )


def _unchanged(job: Job) -> bool:
    """Say whether the file still holds the bytes that the job was made for."""
    try:
        with job.path.open("rb") as handle:
            return hashlib.file_digest(handle, "sha256").hexdigest() == job.sha256
    except OSError:
        return False


def pictures_of(job: Job, document: Mapping[str, Any]) -> dict[int, bytes]:
    """Make the small pictures; a photo that has none still has its measurement."""
    from pitchcam.batch.pictures import small_pictures

    try:
        return small_pictures(job.path, document, _opened.pop(job.path, None))
    except Exception:
        return {}
