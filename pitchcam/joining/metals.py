"""The metals that fittings are made of: what heat, load and current do to them."""

from __future__ import annotations

from functools import cache

from pitchcam.frozen import dataclass
from pitchcam.joining.tables import keyed


@dataclass(frozen=True, kw_only=True, slots=True)
class Metal:
    """A fitting's material; means are over 20 to 700 deg C, strengths as annealed by brazing.

    ``supplied_yield_mpa`` is the yield of the temper as supplied, never heated.

    ``alpha_per_k`` is the mean coefficient of linear expansion with its standard uncertainty;
    ``why_not`` says why it must not be silver brazed, empty where it may.
    """

    key: str
    name: str
    group: str
    density_kg_m3: float
    cp_j_kg_k: float
    alpha_per_k: float
    u_alpha_per_k: float
    solidus_c: float
    yield_mpa: float
    tensile_mpa: float
    supplied_yield_mpa: float
    supplied_source: str
    emissivity: float
    conducts: bool
    why_not: str
    source: str


@cache
def metal(key: str) -> Metal | None:
    """Return the metal of this key (any case), or None for a word the table does not know."""
    row = keyed("metals").get(key.strip().lower())
    if row is None:
        return None
    return Metal(
        key=row["key"],
        name=row["name"],
        group=row["group"],
        density_kg_m3=float(row["density_kg_m3"]),
        cp_j_kg_k=float(row["cp_j_kg_k"]),
        alpha_per_k=float(row["alpha_1e6_k"]) * 1e-6,
        u_alpha_per_k=float(row["u_alpha_1e6_k"]) * 1e-6,
        solidus_c=float(row["solidus_c"]),
        yield_mpa=float(row["yield_mpa"]),
        tensile_mpa=float(row["tensile_mpa"]),
        supplied_yield_mpa=float(row["supplied_yield_mpa"]),
        supplied_source=row["supplied_source"],
        emissivity=float(row["emissivity"]),
        conducts=row["conducts"] == "yes",
        why_not=row["why_not"],
        source=row["source"],
    )


def known_metals() -> tuple[str, ...]:
    """Return the keys of the metals table."""
    return tuple(keyed("metals"))
