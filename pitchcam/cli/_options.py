"""Options that several commands share, and progress on stderr."""

from __future__ import annotations

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

_SCALE_OPTIONS = (
    click.option("--pin", type=LENGTH, metavar="MM", help="Diameter of the plain pin or shank."),
    click.option("--disc", type=LENGTH, metavar="MM", help="Diameter of the round disc."),
    click.option("--card", is_flag=True, help="A card of the usual size (85.60 x 53.98 mm)."),
    click.option("--jaws", type=LENGTH, metavar="MM", help="Gap of the caliper jaws."),
    click.option("--major", type=LENGTH, metavar="MM[in]",
                 help="The thread's own crest diameter by caliper; no reference in the photo."),
    click.option("--no-reference", is_flag=True,
                 help="Nothing of known size: what pitch over diameter, angle and form tell."),
    click.option("--sheet-bar", type=LENGTH, metavar="MM",
                 help="The marker sheet's bar as the caliper reads it."),
    click.option("--reference-height", type=LENGTH, metavar="MM",
                 help="Height of the reference above the plate, or its thickness."),
    click.option("--axis-height", type=LENGTH, metavar="MM",
                 help="Height of the thread's axis above the plate."),
    click.option("--camera", metavar="PROFILE", help="Camera profile made by 'calibrate'."),
)  # fmt: skip


def scale_options(function: F) -> F:
    """Add the options that state the reference; :func:`scale_spec` reads them."""
    for option in reversed(_SCALE_OPTIONS):
        function = option(function)
    return function


def scale_spec(
    *,
    pin: float | None = None,
    disc: float | None = None,
    card: bool = False,
    jaws: float | None = None,
    major: float | None = None,
    no_reference: bool = False,
    sheet_bar: float | None = None,
    reference_height: float | None = None,
    axis_height: float | None = None,
    camera: str | None = None,
) -> ScaleSpec:
    """Return the reference that the options state; without any, the sheet is looked for.

    Raises
    ------
    UsageError
        If more than one reference is stated, or a size that no reference has.
    """
    stated: dict[ScaleSource, float | None] = {
        "pin": pin, "disc": disc, "jaws": jaws, "major": major,
    }  # fmt: skip
    sizes = {name: mm for name, mm in stated.items() if mm is not None}
    given = [f"--{name}" for name in sizes] + (["--card"] if card else [])
    given += ["--no-reference"] if no_reference else []
    if len(given) > 1:
        raise UsageError(f"{' and '.join(given)} contradict each other;", "state one reference")
    for name, mm in sizes.items():
        _check_reference(name, mm)
    source: ScaleSource = next(iter(sizes), "card" if card else "auto")
    if no_reference:
        source = "none"
    if sheet_bar is not None and source == "auto":
        source = "sheet"
    return ScaleSpec(
        source=source,
        mm=next(iter(sizes.values()), None),
        height_mm=reference_height,
        sheet_bar_mm=sheet_bar,
        axis_height_mm=axis_height,
        camera_profile=camera,
    )


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
