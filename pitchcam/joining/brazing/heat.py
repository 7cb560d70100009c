"""How much heat a joint takes, and how long with a stated torch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.joining.practice import practice

Array = NDArray[np.float64]

_STEFAN_BOLTZMANN = 5.670374419e-8
_ZERO_C_K = 273.15
_ROOM_C = 20.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Heating:
    """Heat stored in the work (kJ), lost on the way (kJ), and the time it takes (s).

    ``least_kw`` is the torch power at which the losses at working heat eat all of the torch's
    share; ``seconds`` is None at or under it. ``seconds_range`` is for a torch share of two
    thirds to four thirds of the one assumed.
    """

    stored_kj: float
    lost_kj: float | None
    seconds: float | None
    seconds_range: tuple[float, float] | None
    least_kw: float
    torch_kw: float


def heating(
    heat_capacity_j_k: float, area_mm2: float, emissivity: float, work_c: float, torch_kw: float
) -> Heating:
    """Return the heating of work taken as one lump: torch share in, air and radiation out.

    Parameters
    ----------
    heat_capacity_j_k
        Mass times mean specific heat of everything heated, J/K.
    area_mm2
        Outer surface, mm2.
    emissivity
        Of the surface, 0 to 1.
    work_c
        Working heat, deg C.
    torch_kw
        The torch's stated power.

    Notes
    -----
    One lump overstates what must be heated where the far ends stay cooler, and leaves out what a
    vice or a wet rag carries off: heat the joint on bricks.
    """
    share = practice("torch_share")
    loss_w = float(_loss_w(np.array([work_c]), area_mm2, emissivity)[0])
    stored = heat_capacity_j_k * (work_c - _ROOM_C) / 1e3

    def seconds(part: float) -> float | None:
        return _seconds(heat_capacity_j_k, area_mm2, emissivity, work_c, part * torch_kw * 1e3)

    time = seconds(share)
    fast, slow = seconds(share * 4.0 / 3.0), seconds(share * 2.0 / 3.0)
    return Heating(
        stored_kj=stored,
        lost_kj=None if time is None else share * torch_kw * time - stored,
        seconds=time,
        seconds_range=None if fast is None or slow is None else (fast, slow),
        least_kw=loss_w / share / 1e3,
        torch_kw=torch_kw,
    )


def _loss_w(work_c: Array, area_mm2: float, emissivity: float) -> Array:
    kelvin, room = work_c + _ZERO_C_K, _ROOM_C + _ZERO_C_K
    flux = practice("film") * (kelvin - room)
    flux = flux + emissivity * _STEFAN_BOLTZMANN * (kelvin**4 - room**4)
    return area_mm2 * 1e-6 * flux


def _seconds(
    capacity: float, area_mm2: float, emissivity: float, work_c: float, watts: float
) -> float | None:
    """Integrate capacity dT / (power - loss); None where the loss overtakes the power."""
    work = np.linspace(_ROOM_C, work_c, 2001)
    net = watts - _loss_w(work, area_mm2, emissivity)
    if net[-1] <= 0.0:
        return None
    return float(np.trapezoid(capacity / net, work))
