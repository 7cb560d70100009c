"""Numbers as people read them: a value with its expanded uncertainty (k = 2), in two units."""

from __future__ import annotations

import math

from pitchcam.records import MM_PER_INCH, Quantity

#: Coverage factor of every uncertainty shown to people: about 95 % (JCGM 100, 6.3.3).
COVERAGE_FACTOR = 2.0


def decimals_for(expanded: float) -> int:
    """Return how many decimals show an uncertainty in two digits (JCGM 100, 7.2.6)."""
    if not (expanded > 0.0 and math.isfinite(expanded)):
        return 4
    # Rounded first, so that 0.0996 counts as 0.10.
    exponent = math.floor(math.log10(float(f"{expanded:.1e}")))
    return min(6, max(0, 1 - exponent))


def with_uncertainty(quantity: Quantity, unit: str = "", factor: float = 1.0) -> str:
    """Return ``value ± 2u`` with the digits that the uncertainty allows.

    Parameters
    ----------
    quantity
        The value and its standard uncertainty.
    unit
        Written after the number; a degree sign goes without a space.
    factor
        Multiplies both, for another unit.

    Examples
    --------
    >>> with_uncertainty(Quantity(value=1.5002, u=0.0016), "mm")
    '1.5002 ± 0.0032 mm'
    """
    expanded = COVERAGE_FACTOR * quantity.u * factor
    decimals = decimals_for(expanded)
    value = quantity.value * factor
    # Adding zero turns -0.0 into 0.0 after rounding.
    text = f"{round(value, decimals) + 0.0:.{decimals}f} ± {expanded:.{decimals}f}"
    if not unit:
        return text
    return f"{text}{unit}" if unit == "°" else f"{text} {unit}"


def millimetres(quantity: Quantity) -> str:
    """Return a length in mm."""
    return with_uncertainty(quantity, "mm")


def inches(quantity: Quantity) -> str:
    """Return a length in inches."""
    return with_uncertainty(quantity, "in", 1.0 / MM_PER_INCH)


def threads_per_inch(pitch_mm: Quantity) -> str:
    """Return the pitch as threads per inch."""
    tpi = MM_PER_INCH / pitch_mm.value
    return with_uncertainty(Quantity(value=tpi, u=tpi * pitch_mm.u / pitch_mm.value), "TPI")


def taper_words(taper: Quantity) -> str:
    """Return a taper with the 1:n that people know, or 'parallel' where it is none.

    Notes
    -----
    A taper below twice its standard uncertainty cannot be told from none.
    """
    text = with_uncertainty(taper)
    if abs(taper.value) <= COVERAGE_FACTOR * taper.u:
        return f"{text} (parallel)"
    return f"{text} (1:{1.0 / abs(taper.value):.1f} on the diameter)"
