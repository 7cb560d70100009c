"""Silver alloys of ISO 17672 without cadmium and fluxes of EN 1045: choice by heat."""

from __future__ import annotations

import math
from functools import cache

from pitchcam.errors import RefusedError
from pitchcam.frozen import dataclass
from pitchcam.joining.metals import Metal
from pitchcam.joining.practice import practice
from pitchcam.joining.tables import Row, read_table

#: Densities of the alloys' metals in kg/m3 at 20 deg C (common handbook values, from memory).
_DENSITY = {"ag": 10490.0, "cu": 8960.0, "zn": 7140.0, "sn": 7290.0, "mn": 7210.0, "ni": 8908.0}


@dataclass(frozen=True, kw_only=True, slots=True)
class Alloy:
    """A filler: melting range in deg C, silver content in mass percent, density by mixture."""

    key: str
    silver_percent: float
    composition: str
    solidus_c: float
    liquidus_c: float
    wet_stainless: bool
    use: str
    density_kg_m3: float
    source: str

    @property
    def working_c(self) -> float:
        """The heat it is worked at: some 20 to 50 K over its liquidus."""
        return self.liquidus_c + practice("over_liquidus")


@dataclass(frozen=True, kw_only=True, slots=True)
class Flux:
    """A flux and the heat range in which it is active, deg C."""

    key: str
    from_c: float
    to_c: float
    use: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """The alloy and flux chosen, and the margin in K to the parent that softens first."""

    alloy: Alloy
    flux: Flux
    margin_k: float
    weakest_parent: str


@cache
def alloys() -> tuple[Alloy, ...]:
    """Return every alloy of the table."""
    return tuple(_alloy(row) for row in read_table("alloys"))


def _alloy(cells: Row) -> Alloy:
    parts = {metal: float(cells[metal]) for metal in _DENSITY}
    volume = sum(share / _DENSITY[metal] for metal, share in parts.items())
    names = " ".join(f"{m.capitalize()}{share:g}" for m, share in parts.items() if share)
    return Alloy(
        key=cells["key"],
        silver_percent=parts["ag"],
        composition=names,
        solidus_c=float(cells["solidus_c"]),
        liquidus_c=float(cells["liquidus_c"]),
        wet_stainless=cells["wet_stainless"] == "yes",
        use=cells["use"],
        density_kg_m3=sum(parts.values()) / volume,
        source=cells["source"],
    )


def choose_alloy(parents: tuple[Metal, ...], wanted: str | None = None) -> Choice:
    """Choose the alloy and flux for these parents, or check the one that is wanted.

    The lowest liquidus (to 10 K) wins, then the least silver: lower heat anneals and distorts
    less and boils off less zinc. The working heat must stay a margin below every parent's solidus.

    Raises
    ------
    RefusedError
        If no alloy keeps the margin, or the wanted one is unknown, holds cadmium or is too hot.
    """
    weakest = min(parents, key=lambda m: m.solidus_c)
    if wanted is not None:
        return _checked(wanted, parents, weakest)
    fit = [a for a in alloys() if _margin(a, weakest) >= practice("margin")]
    if not fit:
        raise RefusedError(
            f"{weakest.name} softens at {weakest.solidus_c:.0f} deg C: no silver alloy keeps "
            f"{practice('margin'):.0f} K below it.",
            "Use a made part.",
        )
    fit.sort(key=lambda a: (math.ceil(a.liquidus_c / 10.0), a.silver_percent))
    best = next((a for a in fit if flux_for(a, parents) is not None), None)
    if best is None:
        raise RefusedError("no flux of the table suits these metals.", "Use a made part.")
    flux = flux_for(best, parents)
    assert flux is not None
    return Choice(
        alloy=best, flux=flux, margin_k=_margin(best, weakest), weakest_parent=weakest.name
    )


def _checked(wanted: str, parents: tuple[Metal, ...], weakest: Metal) -> Choice:
    digits = "".join(c for c in wanted if c.isdigit())
    alloy = next((a for a in alloys() if a.key == f"Ag {digits}"), None)
    if alloy is None:
        names = ", ".join(a.key for a in alloys())
        raise RefusedError(
            f"'{wanted}' is none of the cadmium-free alloys of the table.",
            f"Take one of {names}; an old unmarked rod may hold cadmium.",
        )
    margin = _margin(alloy, weakest)
    if margin < practice("margin"):
        raise RefusedError(
            f"{alloy.key} works at {alloy.working_c:.0f} deg C, only {margin:.0f} K below where "
            f"{weakest.name} softens.",
            f"Keep {practice('margin'):.0f} K: take a lower alloy.",
        )
    flux = flux_for(alloy, parents)
    if flux is None:
        raise RefusedError(
            f"no flux of the table suits {alloy.key} on these metals.", "Take a lower alloy."
        )
    return Choice(alloy=alloy, flux=flux, margin_k=margin, weakest_parent=weakest.name)


def _margin(alloy: Alloy, parent: Metal) -> float:
    return parent.solidus_c - alloy.working_c


def flux_for(alloy: Alloy, parents: tuple[Metal, ...]) -> Flux | None:
    """Return the first flux that is active 50 K below the alloy's solidus and at working heat."""
    for row in read_table("fluxes"):
        groups = row["groups"].split()
        low, high = float(row["from_c"]), float(row["to_c"])
        covers = low <= alloy.solidus_c - 50.0 and high >= alloy.working_c
        if covers and all(parent.group in groups for parent in parents):
            return Flux(key=row["key"], from_c=low, to_c=high, use=row["use"], source=row["source"])
    return None
