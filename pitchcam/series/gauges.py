"""The leaves of pitch gauge sets, and how a typed leaf is read."""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from pathlib import Path

from pitchcam.errors import ReadingError
from pitchcam.frozen import dataclass
from pitchcam.records import MM_PER_INCH
from pitchcam.series.table import read_table

#: A typed leaf is one of the set when it is this close: finer than any two leaves of a set.
SAME_LEAF = 0.0005
_LEAF = re.compile(r"^\s*(\d+(?:[.,]\d*)?|[.,]\d+)\s*(mm|tpi|ba|)\s*$", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, slots=True)
class Leaf:
    """One leaf: its mark, pitch, and the form angles that sets have it in."""

    mark: str
    pitch_mm: float
    angles_deg: tuple[float, ...]


@functools.lru_cache(maxsize=4)
def load_leaves(folder: Path | None = None) -> tuple[Leaf, ...]:
    """Return the leaves of all sets, fine pitch first; one leaf per mark."""
    found: dict[str, list[tuple[float, float]]] = {}
    for row in read_table("gauges.csv", folder):
        pair = (row.number("pitch_mm"), row.number("angle_deg"))
        found.setdefault(row.text("leaf"), []).append(pair)
    leaves = (
        Leaf(mark=mark, pitch_mm=rows[0][0], angles_deg=tuple(a for _, a in rows))
        for mark, rows in found.items()
    )
    return tuple(sorted(leaves, key=lambda leaf: leaf.pitch_mm))


def parse_leaf(text: str) -> Leaf:
    """Return the leaf that a person read: ``1.5mm``, ``18tpi``, ``2ba``.

    A number alone is understood where one set only has it: ``1.5`` is mm, ``18`` is TPI.

    Raises
    ------
    ReadingError
        If the text is no leaf, or no usual set holds it; the advice names the nearest leaves.

    Examples
    --------
    >>> parse_leaf("19tpi").pitch_mm
    1.336842
    """
    match = _LEAF.match(text)
    if match is None:
        raise ReadingError(f"the gauge '{text}' is no leaf.", "Write 1.5mm, 18tpi or 2ba.")
    number, unit = float(match[1].replace(",", ".")), match[2].lower()
    leaves = load_leaves()
    if not unit:
        return _without_unit(text, number)
    if unit == "ba":
        for leaf in leaves:
            if leaf.mark == f"{number:g}ba":
                return leaf
        raise ReadingError(f"no gauge set has a leaf {number:g} BA.", "BA leaves run from 0 to 10.")
    if number <= 0:
        raise ReadingError(f"the gauge '{text}' is not above 0.", "Read the leaf's mark again.")
    pitch = number if unit == "mm" else MM_PER_INCH / number
    same_unit = [leaf for leaf in leaves if leaf.mark.endswith(unit)]
    best = min(same_unit, key=lambda leaf: abs(leaf.pitch_mm - pitch))
    if abs(best.pitch_mm / pitch - 1) < SAME_LEAF:
        return best
    advice = f"Near it are: {', '.join(x.mark for x in nearest(pitch, same_unit))}."
    other = MM_PER_INCH / number if unit == "mm" else number
    swap = "tpi" if unit == "mm" else "mm"
    if any(abs(x.pitch_mm / other - 1) < SAME_LEAF for x in leaves if x.mark.endswith(swap)):
        advice += f" If the leaf is marked {number:g} {swap}, write {number:g}{swap}."
    raise ReadingError(f"no gauge set has a leaf of {number:g} {unit}.", advice)


def _without_unit(text: str, number: float) -> Leaf:
    """Return the one leaf of the metric and inch sets with this number."""
    marks = (f"{number:g}mm", f"{number:g}tpi")
    found = [leaf for leaf in load_leaves() if leaf.mark in marks]
    if len(found) == 1:
        return found[0]
    if found:
        raise ReadingError(
            f"the gauge '{text}' has no unit.", f"Sets have both: write {' or '.join(marks)}."
        )
    raise ReadingError(
        f"no gauge set has a leaf {text.strip()}, in mm or TPI.", "Write 1.5mm, 18tpi or 2ba."
    )


def nearest(pitch_mm: float, leaves: Sequence[Leaf], n: int = 3) -> list[Leaf]:
    """Return the ``n`` leaves nearest in pitch, by ratio, fine pitch first."""
    ranked = sorted(leaves, key=lambda x: max(x.pitch_mm / pitch_mm, pitch_mm / x.pitch_mm))
    return sorted(ranked[:n], key=lambda x: x.pitch_mm)
