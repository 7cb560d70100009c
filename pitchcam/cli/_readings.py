"""Readings typed where a name could stand: in the words of ``lookup``, by its own parser."""

from __future__ import annotations

import contextlib
import io
import json
import shlex
from typing import TYPE_CHECKING

import click

from pitchcam.errors import PitchcamError, UsageError
from pitchcam.records import Measurement

if TYPE_CHECKING:
    from pitchcam.joining.job import Side
    from pitchcam.records import Gender, ThreadResult


def read_side(role: str, text: str, *, cast: bool, wanted: Gender) -> Side:
    """Return the side of a job whose thread is given by readings.

    Parameters
    ----------
    role
        ``port`` or ``part``.
    text
        Options of ``lookup``, such as ``-d 13.8 -g 1.5mm``.
    cast
        Whether the diameter is that of a cast.
    wanted
        Gender of the side.

    Raises
    ------
    UsageError, ReadingError
        If the readings are none, or of no thread.
    """
    from pitchcam.joining.job import measured_side

    thread = _looked_up(role, text, cast)
    gender = thread.reading.gender
    origin = f"readings {text.strip()}"
    if role == "port" and gender == "external":
        origin += ", the old part out of it"
    return measured_side(role, origin, thread.verdict, gender, wanted)


def _looked_up(role: str, text: str, cast: bool) -> ThreadResult:
    """Return the thread of the document that ``lookup`` answers with."""
    from pitchcam.cli.lookup import command

    out = io.StringIO()
    try:
        words = ["--json", *(["--cast"] if cast else []), *shlex.split(text)]
        with contextlib.redirect_stdout(out):
            command.main(words, prog_name=f"--{role}", standalone_mode=False)
    except (click.ClickException, ValueError) as error:
        what = error.format_message() if isinstance(error, click.ClickException) else str(error)
        raise UsageError(f"--{role} '{text}': {what}", "See: pitchcam lookup --help") from None
    except PitchcamError as error:
        error.message = f"the {role}: {error.message}"
        raise
    return Measurement.from_json(json.loads(out.getvalue())).parts[0].threads[0]
