"""Cells of a stock sheet to numbers: mm, bar, deg C and grams, from what people type."""

from __future__ import annotations

import math
import re

from pitchcam.errors import UsageError
from pitchcam.units import parse_length

_AMOUNT = re.compile(r"^\s*(?P<number>-?\d+(?:[.,]\d+)?)\s*(?P<unit>[A-Za-z]*)\s*$")

#: unit -> bar; ISO 80000-4 for the exact ones, psi from the pound-force and the inch.
_BAR = {"": 1.0, "bar": 1.0, "mpa": 10.0, "kpa": 0.01, "psi": 0.0689475729}
_GRAM = {"": 1.0, "g": 1.0, "kg": 1000.0, "oz": 28.349523125}


def length_mm(text: str) -> float:
    """Return a length in mm; ``0`` is allowed, inches need their unit.

    Raises
    ------
    UsageError
        If the text is no length.
    """
    if re.fullmatch(r"\s*0+(?:[.,]0*)?\s*(?:mm|in)?\s*", text):
        return 0.0
    return parse_length(text)


def pressure_bar(text: str) -> float:
    """Return a gauge pressure in bar from bar, MPa, kPa or psi.

    Raises
    ------
    UsageError
        If the text is no pressure above zero.
    """
    return _above_zero(
        text, _scaled(text, _BAR, "a pressure", "16 bar, 1.6 MPa or 230 psi"), "pressure"
    )


def temperature_c(text: str) -> float:
    """Return a temperature in deg C, from deg C or F.

    Raises
    ------
    UsageError
        If the text is no temperature, or below absolute zero.
    """
    match = _AMOUNT.match(text)
    if match is None or match["unit"].lower() not in ("", "c", "f"):
        raise UsageError(f"'{text}' is not a temperature;", "write 120, 120 C or 250 F")
    value = float(match["number"].replace(",", "."))
    celsius = (value - 32.0) / 1.8 if match["unit"].lower() == "f" else value
    if celsius < -273.15:
        raise UsageError(f"'{text}' is below absolute zero;", "check the figure")
    return celsius


def mass_g(text: str) -> float:
    """Return a mass in grams.

    Raises
    ------
    UsageError
        If the text is no mass above zero.
    """
    value = _scaled(text, _GRAM, "a mass", "45, 45 g or 0.045 kg")
    return _above_zero(text, value, "mass")


def _above_zero(text: str, value: float, what: str) -> float:
    if value <= 0.0:
        raise UsageError(f"'{text}' is not a {what} above zero;", "leave it empty if not known")
    return value


def whole_number(text: str) -> int:
    """Return a count of pieces.

    Raises
    ------
    UsageError
        If the text is no whole number, or below zero.
    """
    if not re.fullmatch(r"\s*\d{1,7}(?:[.,]0+)?\s*", text):
        raise UsageError(f"'{text}' is not a count;", "write a whole number, 0 or more")
    return int(float(text.replace(",", ".")))


def _scaled(text: str, units: dict[str, float], what: str, example: str) -> float:
    match = _AMOUNT.match(text)
    unit = match["unit"].lower() if match else None
    if match is None or unit not in units:
        raise UsageError(f"'{text}' is not {what};", f"write {example}")
    value = float(match["number"].replace(",", ".")) * units[unit]
    if not math.isfinite(value):
        raise UsageError(f"'{text}' is not {what};", f"write {example}")
    return value
