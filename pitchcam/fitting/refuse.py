"""What must not be made by silver brazing in a shop, and why."""

from __future__ import annotations

from pitchcam.errors import RefusedError, UsageError
from pitchcam.fitting.metals import Metal, known_metals, metal
from pitchcam.fitting.practice import practice
from pitchcam.fitting.stock import Fitting
from pitchcam.fitting.tables import Row, keyed

#: Words people use for a service, to its key.
_ALSO = {
    "petrol": "fuel", "diesel": "fuel", "gasoline": "fuel", "fuel rail": "fuel", "brakes": "brake",
    "clutch": "brake", "hydraulic": "steering", "lpg": "gas", "cng": "gas", "natural gas": "gas",
    "compressed air": "air", "engine oil": "oil", "aircon": "refrigerant", "r134a": "refrigerant",
}  # fmt: skip
_BARE = ("", "none", "no", "bare", "stripped")


def service_row(service: str) -> Row:
    """Return the service's row.

    Raises
    ------
    UsageError
        If the service is not in the table: what is not known is not planned for.
    RefusedError
        If such a joint must not be made for it.
    """
    word = " ".join(service.lower().split())
    row = keyed("services").get(_ALSO.get(word, word))
    if row is None:
        allowed = ", ".join(k for k, r in keyed("services").items() if r["may"] == "yes")
        raise UsageError(
            f"'{service}' is no service of the table;", f"plans are made for {allowed}"
        )
    if row["may"] != "yes":
        raise RefusedError(f"not to be made for {service}: {row['reason']}.")
    return row


def check_duty(pressure_bar: float, temperature_c: float) -> None:
    """Refuse a duty above what an unqualified torch joint is planned for.

    Raises
    ------
    RefusedError
        With the limit and why it is there.
    """
    if pressure_bar > practice("most_bar"):
        raise RefusedError(
            f"{pressure_bar:g} bar is above the {practice('most_bar'):g} bar that a torch joint "
            "without a qualified procedure (EN 13134) is planned for.",
            "Use a made and rated part.",
        )
    if temperature_c > practice("most_c"):
        raise RefusedError(
            f"{temperature_c:g} deg C is above the {practice('most_c'):g} deg C that such a joint "
            "is planned for.", "Move the take-off to a cooler place, or use a made part.",
        )  # fmt: skip


def brazeable(f: Fitting) -> Metal:
    """Return a fitting's metal if it may be silver brazed.

    Raises
    ------
    RefusedError
        If the metal or its plating must not be.
    """
    made_of = metal(f.material)
    if made_of is None:
        raise RefusedError(
            f"{f.id} is of '{f.material}', which the metals table does not know: its melting and "
            "its fumes are not known either.", f"Known: {', '.join(known_metals())}.",
        )  # fmt: skip
    if made_of.why_not:
        raise RefusedError(f"{f.id} is {made_of.name}: {made_of.why_not}.", "Take other donors.")
    _check_plating(f)
    return made_of


def _check_plating(f: Fitting) -> None:
    plating = f.plating.strip().lower()
    if plating in _BARE:
        return
    if "cad" in plating:
        raise RefusedError(
            f"{f.id} is cadmium plated: its fume kills, and a scraping leaves enough.",
            "Do not heat or grind it; take another donor.",
        )
    fume = "gives off fume and " if "zinc" in plating or "galv" in plating else ""
    raise RefusedError(
        f"{f.id} is plated ({f.plating}): plating {fume}spoils the joint.",
        "Take a bare donor, or strip it chemically and write none in its plating.",
    )
