"""The whole catalogue, and how a typed designation finds its size."""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import cast

from pitchcam.errors import InputError, UsageError
from pitchcam.records import Gender
from pitchcam.series import parallel, tapered
from pitchcam.series.names import bare_inches, canonical
from pitchcam.series.records import ThreadSize, Use
from pitchcam.series.table import read_table

#: Basic diameters closer than this are one size: far under what tolerances allow (R40 of 0.2 mm).
SAME_DIAMETER_MM = 0.03
#: A cycle thread of a unified thread's pitch counts as its twin up to here: their crests overlap in
#: every class, and only rounded crests and flanks 0.1 mm larger tell them (3/16-32 and #10-32).
SAME_CYCLE_MM = 0.07


def load_series(folder: Path | None = None) -> tuple[ThreadSize, ...]:
    """Return every size of every series, in the order of the tables.

    Parameters
    ----------
    folder : Path, optional
        A folder with the same CSV files, for a workshop's own editions; default the catalogue.

    Raises
    ------
    InputError
        If a row cannot be used, or two rows give the same designation.
    """
    return _load(folder)


@functools.lru_cache(maxsize=4)
def _load(folder: Path | None) -> tuple[ThreadSize, ...]:
    sizes: list[ThreadSize] = []
    for build in (
        parallel.metric,
        tapered.metric_taper,
        parallel.unified_sizes,
        parallel.whitworth_sizes,
        parallel.cycle,
        parallel.ba,
        parallel.g,
        tapered.r,
        tapered.npt,
        parallel.npsm,
        parallel.pg,
    ):
        sizes.extend(build(folder))
    if folder is not None:
        # What is wrong in a workshop's own tables is said before they are used.
        for size in sizes:
            size.limits("external")
            size.limits("internal")
    seen: set[str] = set()
    for size in sizes:
        if size.designation in seen:
            raise InputError(f"{size.designation} stands twice in the tables.", "Remove one row.")
        seen.add(size.designation)
    _tell_geometry(sizes)
    return tuple(sizes)


def _tell_geometry(sizes: list[ThreadSize]) -> None:
    """Give designations of one and the same geometry the same key: the first of them."""
    groups: dict[tuple[float, float, float], list[ThreadSize]] = defaultdict(list)
    for size in sizes:
        groups[round(size.pitch_mm, 4), size.angle_deg, size.taper].append(size)
    for group in groups.values():
        leader: ThreadSize | None = None
        for size in sorted(group, key=lambda s: s.basic_major_mm):
            if leader is None or not _same(leader, size):
                leader = size
            # Nobody has seen the record yet; making all of them twice takes as long as the tables.
            object.__setattr__(size, "geometry", leader.designation)


def _same(one: ThreadSize, other: ThreadSize) -> bool:
    cycle = "BSC" in (one.family, other.family)
    apart = abs(one.basic_major_mm - other.basic_major_mm)
    return apart <= (SAME_CYCLE_MM if cycle else SAME_DIAMETER_MM)


def load_uses(folder: Path | None = None) -> tuple[Use, ...]:
    """Return what sizes are used for, with how each use seals; designations are checked."""
    return _load_uses(folder)  # with and without the argument it is one table


@functools.lru_cache(maxsize=4)
def _load_uses(folder: Path | None) -> tuple[Use, ...]:
    known = {size.designation for size in load_series(folder)}
    uses = []
    for row in read_table("uses.csv", folder):
        designation = row.text("designation")
        if designation not in known:
            raise row.error("designation", f"{designation!r} is in no series", "correct it")
        gender = row.choice("gender", ("external", "internal", "both"))
        uses.append(
            Use(
                designation=designation,
                gender=cast(Gender, gender),
                use=row.text("use"),
                seal=row.text("seal"),
                twin=(row.cells["twin"] or "").strip(),
                source=row.text("source"),
            )
        )
    return tuple(uses)


def same_geometry(size: ThreadSize, gender: Gender, folder: Path | None = None) -> tuple[str, ...]:
    """Return the other names of one geometry: twin designations, and uses named after the size."""
    twins = [
        s.designation
        for s in load_series(folder)
        if s.geometry == size.geometry
        and s is not size
        and gender in s.genders
        and s.designation != size.designation
    ]
    twins += [
        use.twin
        for use in load_uses(folder)
        if use.twin and use.designation == size.designation and use.gender in (gender, "both")
    ]
    return tuple(dict.fromkeys(twins))


@functools.lru_cache(maxsize=4096)
def find(designation: str) -> ThreadSize:
    """Return the size that a person typed, in the catalogue's spelling or a usual one.

    ``M14`` is the coarse thread; ``1/4 NPT``, ``G1/4"``, ``PT 1/4``, ``M10 keg``, ``3/8 whit``,
    ``JIC 6`` and ``5/8-18`` are understood when only one size fits.

    Raises
    ------
    UsageError
        If nothing or more than one size fits; the advice lists what is near.

    Examples
    --------
    >>> size = find("1/4 npt")
    >>> size.designation, size.taper
    ('1/4-18 NPT', 0.0625)
    """
    exact = _by_designation().get(designation)
    if exact is not None:
        return exact
    wanted = canonical(designation)
    found = _usual(_index().get(wanted, ()))
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(s.designation for s in found)
        raise UsageError(f"'{designation}' may be {names}.", "Write which one.")
    inches = bare_inches(designation)
    if inches is not None:
        _ask_for_series(designation, inches)
    import difflib

    near = difflib.get_close_matches(wanted, _index(), n=4, cutoff=0.6)
    names = ", ".join(dict.fromkeys(_index()[n][0].designation for n in near))
    raise UsageError(
        f"'{designation}' is no thread of the catalogue.",
        f"Near it: {names}." if names else "List them with: pitchcam series",
    )


def _usual(found: tuple[ThreadSize, ...]) -> tuple[ThreadSize, ...]:
    """Return what a short name means by custom: the unified thread, the metric taper in use."""
    families = {s.family for s in found}
    if families <= {"UN", "UNC", "UNF", "UNEF", "UNS", "BSC"}:
        left = tuple(s for s in found if s.family != "BSC")
    elif families == {"M taper"}:
        left = tuple(s for s in found if s.commonness != "rare")
    else:
        return found
    return left if len(left) == 1 else found


def _ask_for_series(typed: str, inches: str) -> None:
    """Raise the question that a bare trade size leaves open, the commonest threads first."""
    rank = {"common": 0, "usual": 1, "rare": 2}
    sizes = [s for s in load_series() if s.size == inches and s.family not in ("Rc", "Rp", "NPTF")]
    if sizes:
        sizes.sort(key=lambda s: rank[s.commonness])
        names = [f"{s.designation} ({s.basic_major_mm:.1f} mm)" for s in sizes[:6]]
        more = f" and {len(sizes) - 6} more" if len(sizes) > 6 else ""
        raise UsageError(
            f"'{typed}' is a size without its thread: it may be {', '.join(names)}{more}.",
            "Write which one; pipe sizes are named after the bore and are larger over the crests.",
        )


@functools.cache
def _by_designation() -> dict[str, ThreadSize]:
    return {size.designation: size for size in load_series()}


@functools.cache
def _index() -> dict[str, tuple[ThreadSize, ...]]:
    index: dict[str, dict[str, ThreadSize]] = defaultdict(dict)
    for size in load_series():
        for key in _spellings(size):
            index[key].setdefault(size.designation, size)
    full = {s.designation.upper(): s for s in load_series()}
    return {k: (full[k],) if k in full else tuple(v.values()) for k, v in index.items()}


def _spellings(size: ThreadSize) -> Iterable[str]:
    name = size.designation.upper()
    yield name
    if size.family == "M":
        coarse = next(s for s in load_series() if s.family == "M" and s.size == size.size)
        if size is coarse:
            yield size.size.upper()
    elif size.family == "M taper":
        yield f"{size.size} TAPER"
    elif size.tpi is not None and size.family not in ("G", "R", "Rp", "Rc", "Pg"):
        yield f"{size.size}-{size.tpi:g}"
        yield f"{size.size} {size.family.upper()}"
        if size.size.startswith("#"):
            yield name[1:]
            yield f"{size.size[1:]}-{size.tpi:g}"
    elif size.family in ("G", "R"):
        yield f"{size.size}-{size.tpi:g}"
    elif size.family == "Pg":
        yield name.replace(" ", "")
