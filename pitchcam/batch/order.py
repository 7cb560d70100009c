"""The order in which bins stand on a shelf: by family of threads, then by size, then by pitch."""

from __future__ import annotations

import re
from fractions import Fraction

#: Families by how the designation is spelled, in the order of the shelf; anything else comes last.
_FAMILIES = (
    ("metric", re.compile(r"M[\d.]")),
    ("pipe, parallel", re.compile(r"G ")),
    ("pipe, taper 55", re.compile(r"R[pc]? ")),
    ("pipe, 60", re.compile(r".* NP[A-Z]+")),
    ("unified", re.compile(r".* UN[A-Z]*")),
    ("Whitworth form", re.compile(r".* BS.*")),
    ("BA", re.compile(r".* BA")),
)

_NUMBER_SIZE = re.compile(r"#(\d+)")
_NUMBERS = re.compile(r"(?:(\d+)[- ])?(\d+)/(\d+)|\d+(?:\.\d+)?")


def shelf_key(name: str) -> tuple[int, tuple[Fraction, ...], str]:
    """Return what a designation is sorted by; a name in no known spelling sorts last, by letters.

    A whole number before a fraction belongs to it (``1 1/4``, ``1-1/4``). Unified number sizes
    (``#10``) are smaller than any fraction of an inch in use beside them.
    """
    family = next(
        (i for i, (_, form) in enumerate(_FAMILIES) if form.fullmatch(name) or form.match(name)),
        len(_FAMILIES),
    )
    sizes: list[Fraction] = []
    rest = name
    number = _NUMBER_SIZE.match(name)
    if number:
        sizes.append(Fraction(int(number[1]), 1000))
        rest = name[number.end() :]
    for match in _NUMBERS.finditer(rest):
        if match[3] and int(match[3]):
            sizes.append(int(match[1] or 0) + Fraction(int(match[2]), int(match[3])))
        elif not match[3]:
            sizes.append(Fraction(match[0]))
    return family, tuple(sizes), name
