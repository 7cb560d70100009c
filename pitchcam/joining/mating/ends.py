"""One end of a fitting: its thread, gender and seat, as people write them and as mating needs."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

from pitchcam.errors import InputError, UsageError
from pitchcam.frozen import dataclass
from pitchcam.joining.mating.geometry import Form, MatingProfile
from pitchcam.joining.tables import Row, read_table
from pitchcam.records import Gender
from pitchcam.series import ThreadSize, find, load_uses
from pitchcam.units import parse_length

#: Seats that people write after a designation, since they make another family of it.
WRITTEN_SEATS = ("oring", "cone24", "cone37", "cone60")
_SEATED = re.compile(
    r"^(?P<thread>.*?)[ ,]+(?P<seat>oring|o-ring|cone ?24|cone ?37|cone ?60|flat)$", re.IGNORECASE
)
_HOSE = re.compile(r"^(?:hose|tail)\s+(?P<bore>\S.*)$", re.IGNORECASE)
#: Bores of rubber hose in mm, which go by inches or by mm (ISO 1307 table 1, from memory): a bore
#: typed in inches is the hose of that size.
_INCH_BORES = {
    "1/8": 3.2,
    "3/16": 5.0,
    "1/4": 6.3,
    "5/16": 8.0,
    "3/8": 10.0,
    "1/2": 12.5,
    "5/8": 16.0,
    "3/4": 19.0,
    "7/8": 22.0,
    "1": 25.0,
    "1-1/4": 31.5,
    "1-1/2": 38.0,
    "2": 51.0,
}
_ONLY_EXTERNAL = {"R": "Rc or Rp", "M-taper": "the parallel metric thread of the same size"}
_ONLY_INTERNAL = {"Rc": "R", "Rp": "R"}


@dataclass(frozen=True, kw_only=True, slots=True)
class End:
    """What an end offers: a thread with gender and seat, or a hose tail by hose bore in mm."""

    designation: str
    gender: Gender
    family: str
    seat: str = "flat"

    @property
    def is_hose(self) -> bool:
        """Whether this is a hose tail (external) or the hose itself (internal)."""
        return self.family == "hose"

    @property
    def written(self) -> str:
        """How the end is written in a stock sheet: :func:`parse_end` reads it back."""
        seat = self.family.rpartition("-")[2]
        return f"{self.designation} {seat}" if seat in WRITTEN_SEATS else self.designation

    @property
    def text(self) -> str:
        """How the end is written for people, with its gender."""
        if self.is_hose:
            bore = float(self.designation[5:])
            inches = next((f" ({i} in)" for i, mm in _INCH_BORES.items() if mm == bore), "")
            return (
                f"hose tail {bore:g} mm{inches}"
                if self.gender == "external"
                else f"hose of {bore:g} mm{inches} bore"
            )
        return f"{self.written} {'male' if self.gender == 'external' else 'female'}"


@cache
def families() -> dict[tuple[str, Gender], Row]:
    """Return the families of the mating matrix by (key, gender)."""
    result: dict[tuple[str, Gender], Row] = {}
    for row in read_table("families"):
        gender: Gender = "external" if row["gender"] == "external" else "internal"
        result[row["key"], gender] = row
    return result


def parse_end(text: str, gender: Gender) -> End:
    """Read an end such as ``M14x1.5``, ``7/16-20 UNF cone37``, ``Rc 1/4`` or ``hose 10``.

    Raises
    ------
    InputError
        If the designation is in no series, or exists in the other gender only.

    Examples
    --------
    >>> parse_end("7/16-20 unf cone37", "external").text
    '7/16-20 UNF cone37 male'
    """
    words = " ".join(text.split())
    hose = _HOSE.match(words)
    if hose:
        bore = _hose_bore_mm(hose["bore"])
        return End(designation=f"hose {bore:g}", gender=gender, family="hose", seat="hose")
    seated = _SEATED.match(words)
    seat = seated["seat"].lower().replace(" ", "").replace("-", "") if seated else ""
    size = find(seated["thread"] if seated else words)
    return _end_of(size, gender, seat)


def _hose_bore_mm(text: str) -> float:
    """Return a hose's bore in mm, from mm or from inches with their unit.

    Raises
    ------
    InputError
        If it is no length, or no hose's bore.
    """
    size = re.sub(r"\s*(in|inch|\")$", "", text.strip(), flags=re.IGNORECASE)
    name = re.sub(r"\s+", "-", size)
    if size != text.strip() and name in _INCH_BORES:
        return _INCH_BORES[name]
    try:
        bore = parse_length(text)
    except UsageError as error:
        raise InputError(f"hose {text}: {error.message}", "Write hose 10, or hose 3/8in.") from None
    if not 1.0 <= bore <= 150.0:
        raise InputError(
            f"a hose bore of {bore:g} mm is none that a fitter uses.",
            "Give the bore in mm, 1 to 150, or in inches: hose 3/8in.",
        )
    return round(bore, 1)


def _end_of(size: ThreadSize, gender: Gender, seat: str) -> End:
    base = base_family(size.designation)
    family = base if seat in ("", "flat") else f"{base}-{seat}"
    _check_gender(base, size.designation, gender)
    row = families().get((family, gender))
    if row is None:
        raise InputError(
            f"{size.designation} has no standard {seat} end.",
            "Leave the seat out, or see pitchcam mate --matrix.",
        )
    if seat in _USE_WORD and seat not in seats_used(size.designation):
        raise InputError(
            f"{size.designation} is no size of {row['source']}.",
            f"Check the thread; sizes there: {', '.join(_sizes_with(base, seat))}.",
        )
    return End(designation=size.designation, gender=gender, family=family, seat=row["seat"])


#: Seat -> the word by which the catalogue's uses tell it. The 24 degree cone has two series of
#: which the catalogue lists one, so its sizes are not checked.
_USE_WORD = {"oring": "O-ring", "cone37": "37 degree flare"}


@cache
def seats_used(designation: str) -> tuple[str, ...]:
    """Return the seats, of those with sizes of their own, that standards give this thread."""
    uses = [use.use for use in load_uses() if use.designation == designation]
    return tuple(seat for seat, word in _USE_WORD.items() if any(word in use for use in uses))


def _sizes_with(base: str, seat: str) -> tuple[str, ...]:
    sizes = dict.fromkeys(use.designation for use in load_uses() if _USE_WORD[seat] in use.use)
    return tuple(name for name in sizes if base_family(name) == base)


def _check_gender(base: str, designation: str, gender: Gender) -> None:
    if gender == "internal" and base in _ONLY_EXTERNAL:
        raise InputError(
            f"{designation} is a male thread only.",
            f"Its female is {_ONLY_EXTERNAL[base]}: say which.",
        )
    if gender == "external" and base in _ONLY_INTERNAL:
        raise InputError(
            f"{designation} is a female thread only.",
            f"Its male is {_ONLY_INTERNAL[base]}; swap the two if need be.",
        )


#: The catalogue's families in the groups that mate alike; any other name stands for itself.
_GROUPS = {
    "M taper": "M-taper",
    "UNC": "UN",
    "UNF": "UN",
    "UNEF": "UN",
    "UNS": "UN",
    "BSW": "W",
    "BSF": "W",
    "BS Brass": "W",
    "BS Conduit": "W",
}


def base_family(designation: str) -> str:
    """Return the mating family of a designation of the catalogue, without its seat."""
    family = find(designation).family
    return _GROUPS.get(family, family)


@cache
def profile_of(end: End) -> MatingProfile:
    """Return the limits of the usual class of an end, at its entry: small end or mouth.

    Raises
    ------
    InputError
        If the end is a hose tail, which has no thread, or its size has no limits.
    """
    if end.is_hose:
        raise InputError("a hose tail has no thread.", "It takes a hose of its bore.")
    size = find(end.designation)
    if not size.limits(end.gender):
        raise InputError(
            f"{end.text} has no limits in the tables.", "Its standard gives none for this pitch."
        )
    limits = size.limits(end.gender)[0]
    base = base_family(size.designation)
    form: Form = _FORM_OF.get(base, "flat60")
    back = size.taper * (size.gauge_length_mm or 0.0) if end.gender == "external" else 0.0

    def at_entry(pair: tuple[float, float]) -> tuple[float, float]:
        return pair[0] - back, pair[1] - back

    return MatingProfile(
        designation=end.designation,
        gender=end.gender,
        form=form,
        pitch_mm=size.pitch_mm,
        major_mm=at_entry(limits.major_mm),
        pitch_diameter_mm=at_entry(limits.pitch_diameter_mm),
        minor_mm=at_entry(limits.minor_mm),
        taper=size.taper,
        length_mm=size.useful_length_mm,
    )


_FORM_OF: dict[str, Form] = {
    "NPT": "pipe60",
    "NPTF": "pipe60",
    "NPSM": "pipe60",
    "R": "round55",
    "Rc": "round55",
    "Rp": "round55",
    "G": "round55",
    "W": "round55",
    "BA": "round47.5",
    "Pg": "round80",
    "BSC": "round60",
}


def opposite(end: End) -> End:
    """Return the end that this one is made for: same thread, other gender, the seat that seals."""
    other: Gender = "internal" if end.gender == "external" else "external"
    if end.family == "R":
        return replace(end, designation="Rc" + end.designation[1:], gender=other, family="Rc")
    if end.family in ("Rc", "Rp"):
        return replace(end, designation="R" + end.designation[2:], gender=other, family="R")
    if end.family == "M-taper":
        plain = end.designation.removesuffix(" taper")
        return replace(end, designation=plain, gender=other, family="M", seat="flat")
    return replace(end, gender=other)
