"""Quantities as tests write them."""

from pitchcam.records import Quantity


def q(value: float, u: float) -> Quantity:
    """Return a value with its standard uncertainty."""
    return Quantity(value=value, u=u)
