"""The boundary between the measuring stages and what they are asked to measure.

A stage raises the errors of :mod:`pitchcam.errors` where it cannot go on. Whatever else comes out
of it was not foreseen; it belongs to the photo in hand and must neither end the program nor cost
the rest of the photo.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from pitchcam.errors import InnerFaultError, PitchcamError
from pitchcam.flags import FLAGS

#: Environment variable under which nothing is caught here, so that a traceback shows the cause.
TRACE = "PITCHCAM_TRACE"
#: Longer texts of foreign errors are cut: the line is for people.
_MOST_TEXT = 120


def inner_fault(stage: str, error: Exception) -> InnerFaultError:
    """Return the error that tells people of an unforeseen one, in one line.

    Parameters
    ----------
    stage
        What was being done, as in 'placing the edges'.
    error
        What was raised.
    """
    text = " ".join(str(error).split())[:_MOST_TEXT]
    shown = f"{type(error).__name__}: {text}" if text else type(error).__name__
    fault = InnerFaultError(f"An inner fault stopped {stage} ({shown}).", FLAGS["fault"][1])
    fault.__cause__ = error
    return fault


@contextmanager
def boundary(stage: Callable[[], str], passing: tuple[type[Exception], ...] = ()) -> Iterator[None]:
    """Turn what nobody foresaw into :class:`InnerFaultError`; all else passes.

    Memory and the operating system fail without the photo's doing, so their errors pass as well.

    Parameters
    ----------
    stage
        Says what is being done when it is asked.
    passing
        Foreseen errors that the caller answers himself.
    """
    through: tuple[type[Exception], ...] = (PitchcamError, MemoryError, OSError, *passing)
    try:
        yield
    except through:
        raise
    except Exception as error:
        if os.environ.get(TRACE):
            raise
        raise inner_fault(stage(), error) from error
