"""What a program asks for, refused in our own words where it cannot be."""

from __future__ import annotations

import math
from typing import get_args

from pitchcam.errors import UsageError
from pitchcam.records import Quantity, ScaleSource, ScaleSpec
from pitchcam.scale.find import check_spec

_LENGTHS = ("mm", "height_mm", "sheet_bar_mm", "axis_height_mm")


def checked_scale(scale: ScaleSpec | None) -> ScaleSpec:
    """Return the reference as it is stated; by default the marker sheet is looked for.

    Raises
    ------
    UsageError
        If it is no :class:`ScaleSpec`, of no known source, or a size cannot be.
    """
    spec = ScaleSpec() if scale is None else scale
    if not isinstance(spec, ScaleSpec):
        raise UsageError(
            f"a reference is a ScaleSpec, not {type(spec).__name__}.",
            'Write ScaleSpec(source="pin", mm=8.0).',
        )
    sources = get_args(ScaleSource)
    if spec.source not in sources:
        raise UsageError(f"{spec.source!r} is no reference.", f"State one of {', '.join(sources)}.")
    for name in _LENGTHS:
        value = getattr(spec, name)
        if value is not None and not (_is_number(value) and value >= 0):
            raise UsageError(f"{name} of {value!r} is no length.", "State it in mm.")
    check_spec(spec)
    return spec


def checked_shrinkage(shrinkage: Quantity | None) -> Quantity | None:
    """Return the cast's shrinkage as it is stated.

    Raises
    ------
    UsageError
        If it is no :class:`Quantity`, or not 0 to 10 percent.
    """
    if shrinkage is None:
        return None
    if not isinstance(shrinkage, Quantity):
        raise UsageError(
            f"a shrinkage is a Quantity, not {type(shrinkage).__name__}.",
            "Write Quantity(value=0.002, u=0.001) for 0.2 %.",
        )
    if not 0.0 <= shrinkage.value < 0.1:
        raise UsageError(
            f"A shrinkage of {100 * shrinkage.value:g} % cannot be right.", "State 0 to 10 percent."
        )
    return shrinkage


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
