"""What must not be made by silver brazing in a shop, and why."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache

from pitchcam.errors import RefusedError, UsageError
from pitchcam.joining.chains.question import Question
from pitchcam.joining.metals import Metal, known_metals, metal
from pitchcam.joining.practice import practice
from pitchcam.joining.stock.sheet import Fitting
from pitchcam.joining.tables import Row, keyed

#: Metals on which a platings cell left empty counts as possibly cadmium: they are plated as a
#: rule. The others are used bare.
_PLATED_AS_A_RULE = ("steel",)


def service_row(service: str) -> Row:
    """Return the service's row.

    Raises
    ------
    UsageError
        If the service is not in the table: what is not known is not planned for.
    RefusedError
        If such a joint must not be made for it.
    """
    row = _services().get(" ".join(service.lower().split()))
    if row is None:
        allowed = ", ".join(k for k, r in keyed("services").items() if r["may"] == "yes")
        raise UsageError(
            f"'{service}' is no service of the table;", f"plans are made for {allowed}"
        )
    if row["may"] != "yes":
        raise RefusedError(f"not to be planned here for {service}: {row['reason']}.")
    return row


@cache
def _services() -> dict[str, Row]:
    """Return the services by key and by every other word for them."""
    rows = keyed("services")
    return {
        word.strip(): row
        for key, row in rows.items()
        for word in (key, *row["also"].split(";"))
        if word.strip()
    }


def usual_duty(service: str | None) -> tuple[float | None, float | None]:
    """Return a service's usual pressure (bar) and highest heat (deg C); None, None for no service.

    Raises
    ------
    UsageError, RefusedError
        As :func:`service_row`.
    """
    if service is None:
        return None, None
    row = service_row(service)
    return float(row["usual_bar"]), float(row["usual_c"])


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
            "is planned for.",
            "Move the take-off to a cooler place, or use a made part.",
        )


def check_hose(question: Question, pressure_bar: float, temperature_c: float) -> None:
    """Refuse a hose that does not stand the duty; nothing to check where no side is a hose.

    Raises
    ------
    RefusedError
        With the hose's rating and what it would have to stand.
    """
    if not (question.port.is_hose or question.part.is_hose):
        return
    usual = float(keyed("seals")["hose"]["max_c"])
    stands = question.hose_c if question.hose_c is not None else usual
    if temperature_c > stands:
        whose = "the hose" if question.hose_c is not None else "a usual coolant hose"
        raise RefusedError(
            f"{whose} stands {stands:g} deg C and would see {temperature_c:g}.",
            "Take a hose rated for it, and state it with --hose-temperature.",
        )
    if question.hose_bar is not None and pressure_bar > question.hose_bar:
        raise RefusedError(
            f"the hose stands {question.hose_bar:g} bar and would see {pressure_bar:g}.",
            "Take a hose rated for it, and state it with --hose-pressure.",
        )


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
            "its fumes are not known either.",
            f"Known: {', '.join(known_metals())}.",
        )
    if made_of.why_not:
        raise RefusedError(f"{f.id} is {made_of.name}: {made_of.why_not}.", "Take other donors.")
    _check_plating(f, made_of)
    return made_of


def plating_row(word: str) -> Row | None:
    """Return the row of a plating, None for a word that is not known to be harmless.

    Of several words every one must be known, and the worst counts: cadmium under chromate is sold
    by the look of the chromate.
    """
    rows = keyed("platings")
    words = " ".join(re.sub(r"[,;/+()]", " ", word.lower()).split())
    if words in rows:
        return rows[words]
    found = [rows.get(w) for w in words.split()]
    cadmium = [r for r in found if r is not None and r["kind"] == "cadmium"]
    if cadmium:
        return cadmium[0]
    known = [r for r in found if r is not None and r["kind"] in ("spoils", "fumes")]
    if not known or len(known) != len(found):
        return None
    return max(known, key=lambda r: r["kind"] == "fumes")


def known_platings() -> str:
    """Return the plating words that are known, by what they mean for heat."""
    heads = {
        "bare": "bare",
        "spoils": "harmless, but must come off before brazing",
        "fumes": "zinc fume, must come off before brazing",
        "cadmium": "never to be heated, filed or stripped",
    }
    rows = keyed("platings")
    return "; ".join(
        f"{head}: {', '.join(w for w, r in rows.items() if r['kind'] == kind)}"
        for kind, head in heads.items()
    )


def doubtful_platings(rows: Sequence[Fitting]) -> tuple[str, ...]:
    """Return the fittings that are or may be cadmium plated, each with the word that says so."""
    lines = []
    for f in rows:
        made_of = metal(f.material)
        row = plating_row(f.plating) if f.plating.strip() else None
        if row is not None and row["kind"] == "cadmium":
            lines.append(f"{f.id}: cadmium plated ({f.plating})")
        elif f.plating.strip() and row is None:
            lines.append(f"{f.id}: '{f.plating}' is not known, so possibly cadmium")
        elif not f.plating.strip() and made_of and made_of.group in _PLATED_AS_A_RULE:
            lines.append(f"{f.id}: steel of unstated plating, so possibly cadmium")
    return tuple(lines)


def _check_plating(f: Fitting, made_of: Metal) -> None:
    word = f.plating.strip()
    if not word:
        if made_of.group in _PLATED_AS_A_RULE:
            raise RefusedError(
                f"{f.id} is of steel and its plating is not stated: it may be cadmium.",
                "Find out; write none in its plating if it is bare.",
            )
        return
    row = plating_row(word)
    if row is None:
        raise RefusedError(
            f"{f.id} is plated ({word}): that word is not known to be harmless, so it counts as "
            "possibly cadmium.",
            "Do not heat, file or strip it; take another donor. Words known: pitchcam stock check.",
        )
    if row["kind"] == "cadmium":
        raise RefusedError(
            f"{f.id} is cadmium plated ({word}): {row['why']}.",
            "Do not heat, file or strip it; take another donor.",
        )
    if row["kind"] != "bare":
        raise RefusedError(
            f"{f.id} is plated ({word}): {row['why']}.",
            "Take a bare donor, or strip it chemically and write none in its plating.",
        )
