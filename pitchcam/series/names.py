"""How people write threads: a typed name brought to the catalogue's spelling, or asked back."""

from __future__ import annotations

import functools
import re
import unicodedata
from collections.abc import Mapping
from pathlib import Path

from pitchcam.errors import UsageError
from pitchcam.series.table import read_table

_SIZE = r"\d+(?:-\d+/\d+|/\d+)?"
#: Words of the trade on the left, the catalogue's on the right (common practice; PF, PT and PS are
#: those of JIS B 0202 and B 0203).
_WORDS = (
    (r"\bBSPP(?=\b|\d)|\bBSP\s*F\b|\bBSP\s*PARALLEL\b|\bPF(?=\b|\d)", "G "),
    (r"\bBSPT(?=\b|\d)|\bBSP\s*T(APER)?\b|\bPT(?=\b|\d)", "R "),
    (r"\bPS(?=\s*\d)", "RP "),
    (r"\b(CONICAL|KEG|CON|TAPERED)\b", "TAPER"),
    (r"\bNO\.?\s*(?=\d)", "#"),
    (r"\b(BS )?BRASS\b", "BS BRASS"),
    (r"\b(BS )?CONDUIT\b", "BS CONDUIT"),
    (r"\bWHIT(WORTH)?\b\.?", "BSW"),
    (r"\bCEI\b|\bBSCY\b|\b(BS )?CYCLE\b", "BSC"),
)
#: Class of fit behind a name: it is no part of the size.
_CLASS = re.compile(r"(?<=[\dA-Z])\s*-?\s*\b(?:[3-9][EFGH](?:[3-9][EFGH])?|[123][AB])$")
_G_CLASS = re.compile(r"^(G\s*\d.*?)\s*[AB]$")
_PIPE = re.compile(rf"^(?:(?:BSP|GAS)\s*({_SIZE})|({_SIZE})\s*(?:BSP|GAS))$")
_DASH_KINDS = {
    "JIC": "37 degree flare",
    "AN": "37 degree flare",
    "37": "37 degree flare",
    "45": "45 degree flare",
    "SAE": "",
    "ORB": "37 degree flare",
    "ORFS": "flat-face O-ring",
    "FLARE": "",
    "DASH": "",
    "": "",
}
_DASH = re.compile(
    r"^(?:(?P<a>JIC|AN|37|45|SAE|ORB|ORFS|FLARE|DASH)?(?:\s*DEG(?:REE)?S?)?(?:\s*FLARE)?"
    r"\s*(?P<mark>[-#])\s*(?P<n>\d{1,2})(?:\s*(?P<b>JIC|AN|SAE|ORB|ORFS|FLARE))?"
    r"|(?P<c>JIC|AN|ORB|ORFS|DASH)\s*(?P<m>\d{1,2})"
    r"|(?P<k>\d{1,2})\s*(?P<d>JIC|AN|ORB|ORFS))$"
)


def canonical(text: str) -> str:
    """Return a typed name in capitals and in the order and spacing of the catalogue.

    Raises
    ------
    UsageError
        If the name is one of two threads by its own words (``1/4 BSP``), or a dash size that more
        than one kind of fitting has.
    """
    words = _tidy(text)
    dash = _dash_size(text, words)
    if dash is not None:
        return dash.upper()
    for pattern, replacement in _WORDS:
        words = re.sub(pattern, replacement, words)
    words = " ".join(words.split())
    pipe = _PIPE.match(words)
    if pipe:
        size = pipe[1] or pipe[2]
        raise UsageError(
            f"'{text}' may be parallel or taper.",
            f"Parallel G {size} (seals by a washer or cone) or taper R {size} (seals on the "
            "thread)? Write which one.",
        )
    return _ordered(_CLASS.sub("", _G_CLASS.sub(r"\1", words)))


def _tidy(text: str) -> str:
    """Return the text in capitals, with one spelling of commas, crosses, fractions and inches."""
    # A fraction in one character (a phone's keyboard has some): 1\u00bd is 1-1/2, not 11/2.
    text = re.sub("(?<=[0-9])(?=[\u00bc-\u00be\u2150-\u215e])", "-", text)
    text = unicodedata.normalize("NFKC", text).replace("\u2044", "/")
    words = text.upper().replace(",", ".").replace("\u00d7", "X").replace("*", "X")
    # Two primes are what the double one was made of.
    words = re.sub(r"[\"\u201d]|\u2032{2}|''|\b(IN|INCH)\b|(?<=\d)(IN|INCH)\b", " ", words)
    words = " ".join(words.split())
    words = re.sub(r"(?<=\d)\s+(?=\d+/\d+)", "-", words)  # 1 1/4 -> 1-1/4
    words = re.sub(r"\bM\s*F?\s+(?=\d)|\bMF(?=\d)", "M", words)  # M 14, MF14 -> M14
    return re.sub(r"^(M\d+(?:\.\d+)?)\s*[-/ ]\s*(?=\d?\.?\d)", r"\1X", words)


def _ordered(words: str) -> str:
    """Return the family's name where the catalogue has it, and figures as it writes them."""
    words = re.sub(r"(\.\d*?)0+(?!\d)", r"\1", words).replace(". ", " ").rstrip(".")  # 1.50 -> 1.5
    head = re.match(r"(R[PC]|G|R|PG)\s*(?=\d)(.*)$", words)
    tail = re.match(r"(.*\d)\s*(G|R[PC]?|BA)$", words)
    if head:
        words = f"{head[1]} {head[2]}"
    elif tail:
        words = f"{tail[1]} BA" if tail[2] == "BA" else f"{tail[2]} {tail[1]}"
    if words.startswith("BA "):
        words = words[3:] + " BA"
    words = re.sub(r"\s*([X-])\s*", r"\1", words).replace("TPI", "").strip()
    words = re.sub(r"(?<=X)(?=\.\d)", "0", words)  # M8x.75 -> M8x0.75
    words = re.sub(r"(?<=\d)(?=(UN|BS|NP|TAPER))", " ", words)
    words = re.sub(r"^(UN[CFSE]*F?|BS[WFC]|NPTF?|NPSM)(?=\d)", r"\1 ", words)
    return re.sub(r"^(UN[CFSE]*F?|BS (?:BRASS|CONDUIT)|BS[WFC]|NPTF?|NPSM) (.*)$", r"\2 \1", words)


def bare_inches(text: str) -> str | None:
    """Return the trade size of a name that is nothing but inches (``1/2"``), else None."""
    match = re.fullmatch(rf"({_SIZE})", _tidy(text))
    return match[1] if match else None


@functools.cache
def dash_sizes(folder: Path | None = None) -> Mapping[str, Mapping[int, str]]:
    """Return the designation of each dash size, by kind of fitting (``dash.csv``)."""
    kinds: dict[str, dict[int, str]] = {}
    for row in read_table("dash.csv", folder):
        kinds.setdefault(row.text("kind"), {})[round(row.number("dash"))] = row.text("designation")
    return kinds


def _dash_size(text: str, words: str) -> str | None:
    """Return the thread of a dash size, or None where the words are none."""
    match = _DASH.match(words)
    if match is None or (match["mark"] == "#" and not (match["a"] or match["b"])):
        return None  # #6 alone is a screw size
    word = match["a"] or match["b"] or match["c"] or match["d"] or ""
    number = int(match["n"] or match["m"] or match["k"])
    kind = _DASH_KINDS[word]
    found = {k: t[number] for k, t in dash_sizes().items() if number in t and kind in ("", k)}
    if not found:
        raise UsageError(
            f"'{text}' is no dash size of these fittings.",
            "Dash sizes count sixteenths of an inch of tube: 4, 6, 8, 10, 12 ...",
        )
    if len(set(found.values())) > 1:
        said = "; ".join(f"{k}: {designation}" for k, designation in found.items())
        raise UsageError(f"'{text}' may be {said}.", "Write which one.")
    return next(iter(found.values()))
