"""Lengths as a person types them, to millimetres: inches end here; probabilities as read."""

from __future__ import annotations

import math
import re

from pitchcam.errors import UsageError
from pitchcam.records import MM_PER_INCH

_NUMBER = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_LENGTH = re.compile(
    rf"""^\s*(?:
        (?P<whole>\d+)[\s-]+(?P<n1>\d+)/(?P<d1>\d+)
      | (?P<n2>\d+)/(?P<d2>\d+)
      | (?P<decimal>{_NUMBER})
    )\s*(?P<unit>mm|in|inch|"|)\s*$""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)


def parse_length(text: str) -> float:
    """Return the length in mm that ``text`` states.

    Parameters
    ----------
    text
        Millimetres without a unit or with ``mm``; inches with ``in``, ``inch`` or ``"``. Fractions
        (``5/16in``, ``1 1/4in``) are inches by trade and need the unit too, so that none is
        guessed. A comma is read as the decimal sign.

    Raises
    ------
    UsageError
        If the text is no length, or not above zero.

    Examples
    --------
    >>> parse_length("13,8"), parse_length("5/16in")
    (13.8, 7.9375)
    """
    match = _LENGTH.match(text)
    if match is None:
        raise UsageError(f"'{text}' is not a length;", "write 8, 8.0mm, 0.315in or 5/16in")
    unit = match["unit"].lower()
    number = _number(match)
    if number is None or (match["decimal"] is None and unit in ("", "mm")):
        raise UsageError(f"'{text}' is a fraction without inches;", "write it as 5/16in")
    length_mm = number if unit in ("", "mm") else number * MM_PER_INCH
    if not (length_mm > 0.0 and math.isfinite(length_mm)):
        raise UsageError(f"'{text}' is not a length above zero;", "read the caliper again")
    return length_mm


def _number(match: re.Match[str]) -> float | None:
    if match["decimal"] is not None:
        return float(match["decimal"].replace(",", "."))
    whole = int(match["whole"] or 0)
    top, bottom = (match["n1"], match["d1"]) if match["n1"] else (match["n2"], match["d2"])
    return whole + int(top) / int(bottom) if int(bottom) else None


def percent(probability: float) -> str:
    """Return a probability in percent that never claims certainty.

    Examples
    --------
    >>> percent(0.968), percent(0.99999)
    ('96.8 %', 'over 99.9 %')
    """
    if probability >= 0.9995:
        return "over 99.9 %"
    if 0.0 < probability < 0.0005:
        return "under 0.1 %"
    return f"{100.0 * probability:.1f} %"
