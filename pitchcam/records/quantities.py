"""A value with its uncertainty, a line of the budget, and strict JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, Literal

from pitchcam.frozen import dataclass

MM_PER_INCH = 25.4

Distribution = Literal["normal", "rectangular", "t"]

#: The least standard uncertainty that a photo can leave, relative, and of what may be zero (a
#: taper): 20 nm of 20 mm is a fortieth of the light's wave. What comes out smaller is a term lost.
LEAST_SHARE, LEAST_U = 1e-6, 1e-8

#: The measured quantities that naming uses, in the order of every covariance matrix.
NAMING_QUANTITIES = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper")


def json_text(document: Any, *, indent: int | None = None, sort_keys: bool = False) -> str:
    """Return a document as strict JSON (RFC 8259): the only way in which pitchcam writes JSON.

    Raises
    ------
    ValueError
        If it holds NaN or an infinity, which JSON has no words for.
    """
    return json.dumps(document, indent=indent, sort_keys=sort_keys, allow_nan=False)


class LostTermError(ValueError):
    """A quantity has less uncertainty than any photo can leave: its budget has lost a term."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Quantity:
    """A value with its standard uncertainty (k = 1), in the unit its field name carries.

    Raises
    ------
    ValueError
        If either is no finite number, or the uncertainty is negative: what could not be measured
        is absent, never a quantity.

    Examples
    --------
    >>> Quantity.from_json(Quantity(value=1.5002, u=0.0016).to_json())
    Quantity(value=1.5002, u=0.0016)
    """

    value: float
    u: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0.0):
            raise ValueError(f"no quantity: value {self.value}, u {self.u}")

    @classmethod
    def measured(cls, value: float, u: float) -> Quantity:
        """Return a quantity that a photo told.

        Raises
        ------
        LostTermError
            If its uncertainty is less than any photo can leave.
        """
        if u < least_u(value):
            raise LostTermError(f"no photo measures {value} to {u}")
        return cls(value=float(value), u=float(u))

    def to_json(self) -> dict[str, float]:
        """Return the contract's ``{"value", "u"}``."""
        return {"value": float(self.value), "u": float(self.u)}

    @classmethod
    def from_json(cls, document: Mapping[str, Any]) -> Quantity:
        """Return the quantity of a ``{"value", "u"}``."""
        return cls(value=float(document["value"]), u=float(document["u"]))


def least_u(value: float) -> float:
    """Return the least standard uncertainty to which a photo can tell a value."""
    return max(LEAST_SHARE * abs(value), LEAST_U)


def quantity_json(quantity: Quantity | None) -> dict[str, float] | None:
    """Return the contract's form of a quantity, null where it was not measured."""
    return None if quantity is None else quantity.to_json()


def quantity_of(document: Mapping[str, Any] | None) -> Quantity | None:
    """Return a quantity read back, None for null."""
    return None if document is None else Quantity.from_json(document)


@dataclass(frozen=True, kw_only=True, slots=True)
class BudgetLine:
    """One term of the uncertainty budget: what its input contributes to each quantity.

    ``contributions`` are signed standard uncertainties (k = 1, sensitivity coefficient times the
    input's u). ``kind`` is the type of evaluation and ``distribution`` what the input's u was taken
    from (JCGM 100, 4.2 and 4.3), ``degrees_of_freedom`` how well it is known (infinite: exactly).
    Within a ``correlated`` line one input moves all quantities together; otherwise each has its
    own. ``of_scale`` says that the term makes the scale itself wrong.

    A quantity that was not measured has no contribution.

    Raises
    ------
    ValueError
        If a contribution is no finite number.
    """

    source: str
    contributions: Mapping[str, float]
    kind: Literal["A", "B"] = "B"
    correlated: bool = True
    of_scale: bool = False
    distribution: Distribution = "normal"
    degrees_of_freedom: float = float("inf")

    def __post_init__(self) -> None:
        for name, share in self.contributions.items():
            if not math.isfinite(share):
                raise ValueError(f"no contribution of {self.source} to {name}: {share}")

    def to_json(self) -> dict[str, Any]:
        """Return one row of the contract's ``budget``; infinite degrees of freedom as null."""
        freedom = self.degrees_of_freedom
        return {
            "source": self.source,
            "kind": self.kind,
            "correlated": self.correlated,
            "of_scale": self.of_scale,
            "distribution": self.distribution,
            "degrees_of_freedom": float(freedom) if math.isfinite(freedom) else None,
        } | {k: float(v) for k, v in self.contributions.items()}

    @classmethod
    def from_json(cls, row: Mapping[str, Any]) -> BudgetLine:
        """Return the line of a row; what an older document lacks has the record's default."""
        said: dict[str, Any] = {k: row[k] for k in _OF_LINE if row.get(k) is not None}
        shares = {k: float(row[k]) for k in NAMING_QUANTITIES if row.get(k) is not None}
        return cls(contributions=shares, **said)


_OF_LINE = ("source", "kind", "correlated", "of_scale", "distribution", "degrees_of_freedom")
