"""Options that several commands share, and progress on stderr."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pitchcam.errors import UsageError
from pitchcam.records import ScaleSource, ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS, ReferenceKind
from pitchcam.units import parse_length

if TYPE_CHECKING:  # newer versions of click name the type that a parameter becomes
    _FloatParam = click.ParamType[float]
else:
    _FloatParam = click.ParamType

F = TypeVar("F", bound=Callable[..., Any])

# No reference for a thread is smaller than 1 mm; readings below it are inches typed without 'in'.
_REFERENCE_MM = (1.0, 500.0)


class Length(_FloatParam):
    """A length: mm as typed, or inches with 'in'."""

    name = "length"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return millimetres; a bad length fails as wrong usage, in one line."""
        if isinstance(value, (int, float)):
            return float(value)
        try:
            return parse_length(value)
        except UsageError as error:
            self.fail(str(error), param, ctx)


LENGTH = Length()
#: The record where none is named, and what names another for all commands.
_RECORD, _RECORD_VARIABLE = Path("pitchcam.sqlite"), "PITCHCAM_RECORD"


def record_option(words: str) -> Callable[[F], F]:
    """Return the option ``--record`` with what it is to a command."""
    return click.option(
        "--record",
        type=click.Path(path_type=Path),
        default=_RECORD,
        envvar=_RECORD_VARIABLE,
        show_default=True,
        show_envvar=True,
        help=words,
    )


def usual_record() -> Path:
    """Return the record of a command that has no option for it."""
    return Path(os.environ.get(_RECORD_VARIABLE) or _RECORD)


def _stating(kind: ReferenceKind) -> Callable[[F], F]:
    """Return the option that states a reference of a kind, with its size where it has one."""
    if kind.limits_mm is None:
        return click.option(kind.flag, is_flag=True, help=kind.help)
    metavar = "MM" if kind.lies else "MM[in]"
    return click.option(kind.flag, type=LENGTH, metavar=metavar, help=kind.help)


_SCALE_OPTIONS = (
    *(_stating(kind) for kind in REFERENCE_KINDS.values() if kind.name != "sheet"),
    click.option(
        "--sheet-bar",
        type=LENGTH,
        metavar="MM",
        help="The marker sheet's bar as the caliper reads it.",
    ),
    click.option(
        "--reference-height",
        type=LENGTH,
        metavar="MM",
        help="Height of the reference above the plate, or its thickness.",
    ),
    click.option(
        "--axis-height",
        type=LENGTH,
        metavar="MM",
        help="Height of the thread's axis above the plate.",
    ),
    click.option("--camera", metavar="PROFILE", help="Camera profile made by 'calibrate'."),
)


def scale_options(function: F) -> F:
    """Add the options that state the reference; :func:`scale_spec` reads them."""
    for option in reversed(_SCALE_OPTIONS):
        function = option(function)
    return function


#: The names under which a command is given them.
SCALE_NAMES = (
    *(kind.key for kind in REFERENCE_KINDS.values()),
    "reference_height",
    "axis_height",
    "camera",
)


def scale_spec(**options: Any) -> ScaleSpec:
    """Return the reference that the options state; without any, the sheet is looked for.

    Parameters
    ----------
    options
        Of SCALE_NAMES: sizes in mm, True for a reference that has none, None or nothing where an
        option is not used.

    Raises
    ------
    UsageError
        If more than one reference is stated, or a size that no reference has.
    """
    unknown = set(options) - set(SCALE_NAMES)
    if unknown:
        raise TypeError(f"there is no option {', '.join(sorted(unknown))}")
    stated = [
        kind
        for kind in REFERENCE_KINDS.values()
        if kind.name != "sheet" and _given(options.get(kind.key))
    ]
    if len(stated) > 1:
        given = " and ".join(kind.flag for kind in stated)
        raise UsageError(
            f"{given} contradict each other;",
            "state one; of two that lie in one photo the second follows in --also",
        )
    source: ScaleSource = "auto"
    sheet_bar, mm = options.get("sheet_bar"), None
    if stated:
        source = stated[0].name
        mm = options[source] if stated[0].limits_mm is not None else None
    elif sheet_bar is not None:
        source = "sheet"
    if mm is not None:
        _check_reference(source, mm)
    return ScaleSpec(
        source=source,
        mm=mm,
        height_mm=options.get("reference_height"),
        sheet_bar_mm=sheet_bar,
        axis_height_mm=options.get("axis_height"),
        camera_profile=options.get("camera"),
    )


def _given(value: Any) -> bool:
    return value is not None and value is not False


def _check_reference(name: str, mm: float) -> None:
    low, high = _REFERENCE_MM
    if mm < low:
        raise UsageError(
            f"--{name} {mm:g} mm is smaller than any reference;",
            f"if the reading is in inches write --{name} {mm:g}in",
        )
    if mm > high:
        raise UsageError(f"--{name} {mm:g} mm does not fit in a photo;", "check the unit")


def output_path(path: str | None, option: str, suffixes: tuple[str, ...]) -> Path | None:
    """Return where to write, checked before any work is done.

    Raises
    ------
    UsageError
        If the name's ending is not one of ``suffixes``, or its folder does not exist.
    """
    if path is None:
        return None
    target = Path(path)
    if target.suffix.lower() not in suffixes:
        raise UsageError(f"{option} {path}:", f"the name must end in {' or '.join(suffixes)}")
    if not target.parent.is_dir():
        raise UsageError(f"{option} {path}:", f"there is no folder {target.parent}")
    if target.is_dir():
        raise UsageError(f"{option} {path}:", "that is a folder; name a file in it")
    return target


class Progress:
    """Tells on stderr what is being done, once it has taken longer than a second."""

    def __init__(self, after_s: float = 1.0) -> None:
        self._start = time.monotonic()
        self._text = ""
        self._shown = False
        self._tty = sys.stderr.isatty()
        self._lock = threading.Lock()
        self._timer = threading.Timer(after_s, self._show_late)
        self._after_s = after_s

    def __enter__(self) -> Progress:
        self._timer.daemon = True
        self._timer.start()
        return self

    def __call__(self, text: str) -> None:
        """Note what is being done now."""
        if text.startswith("measuring"):
            # From here on steps are short; and copies of the process, for parts side by side, are
            # made of one thread only.
            self._timer.cancel()
            if self._timer.is_alive():
                self._timer.join()
        with self._lock:
            self._text = text
            if time.monotonic() - self._start >= self._after_s:
                self._write()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._timer.cancel()
        if self._shown and self._tty:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()

    def _show_late(self) -> None:
        with self._lock:
            if self._text:
                self._write()

    def _write(self) -> None:
        self._shown = True
        seconds = time.monotonic() - self._start
        line = f"{seconds:4.1f} s  {self._text}"
        sys.stderr.write(f"\r\x1b[K{line}" if self._tty else f"{line}\n")
        sys.stderr.flush()
