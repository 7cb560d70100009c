"""Threads of the standard series at random: size, place in the tolerance, root, wear, ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from pitchcam.series import ThreadSize, load_series
from samples.forms import BA_47, ISO_60, NPT_60, WHITWORTH_55, Form
from samples.solids import Nick, Thread

#: Share of each family among the drawn threads: what a garage meets, by eye.
FAMILIES = {
    "M": 0.27,
    "UNC": 0.08,
    "UNF": 0.10,
    "UNEF": 0.05,
    "UN": 0.04,
    "BSW": 0.08,
    "BSF": 0.07,
    "BA": 0.04,
    "G": 0.11,
    "R": 0.06,
    "NPT": 0.07,
    "M taper": 0.03,
}
COMMON = {"common": 6.0, "usual": 2.0, "rare": 0.7}
SMALLEST_MM, LARGEST_MM = 4.0, 36.0

#: Both of a pair that is confused, from the handbook's tables of such pairs.
TWINS = """R 1/2|1/2-14 NPT|G 1/2|R 3/4|3/4-14 NPT|G 3/4|R 1/8|1/8-27 NPT|G 1/8|M10x1|3/8-24 UNF
M10x1.25|3/8-20 BSF|R 1/4|1/4-18 NPT|G 1/4|M14x1.5|9/16-18 UNF|M14x2|M14|9/16-12 UNC|M12x1.25
1/2-20 UNF|M12x1.5|M16x1.5|5/8-18 UNF|G 3/8|R 3/8|3/8-18 NPT|M18x1.5|M20x1.5|3/4-16 UNF|M22x1.5
7/8-14 UNF|G 5/8|M24x1.5|M26x1.5|M27x2|M30x2|M33x2|G 1|R 1|M6|M6x1|1/4-28 UNF|M5|M5x0.8|#10-32 UNF
M8|M8x1.25|1/4-20 UNC|1/4-20 BSW|5/16-18 UNC|5/16-18 BSW|3/8-16 UNC|3/8-16 BSW|7/16-14 UNC
7/16-14 BSW|1/2-13 UNC|1/2-12 BSW|5/8-11 UNC|5/8-11 BSW|3/4-10 UNC|3/4-10 BSW|0 BA|2 BA|0BA|2BA
3/16-32 BSF|1/2-16 BSF|9/16-16 BSF|1/4-26 BSF|5/16-22 BSF|M8x1|M17x1.5|M10|M10x1.5"""

#: Pipe threads of one pitch and nearly one diameter: taper, form and angle alone tell them apart.
PIPES = ("1/2-14 NPT", "R 1/2", "G 1/2", "3/4-14 NPT", "R 3/4", "G 3/4")


@dataclass(frozen=True, kw_only=True)
class Cut:
    """A thread with its name and how much wear took off each crest, mm."""

    name: str
    thread: Thread
    worn_mm: float


@lru_cache(maxsize=1)
def sizes() -> dict[str, list[ThreadSize]]:
    """Return the drawable sizes of each family."""
    out: dict[str, list[ThreadSize]] = {f: [] for f in FAMILIES}
    for s in load_series():
        if (
            s.family in out
            and "external" in s.genders
            and SMALLEST_MM <= s.basic_major_mm <= LARGEST_MM
        ):
            out[s.family].append(s)
    return out


@lru_cache(maxsize=1)
def twins() -> list[ThreadSize]:
    """Return the sizes of TWINS."""
    wanted = {n.strip() for line in TWINS.splitlines() for n in line.split("|")}
    return [s for group in sizes().values() for s in group if s.designation in wanted]


def pipe(rng: np.random.Generator) -> ThreadSize:
    """Draw one of PIPES."""
    some = [s for s in twins() if s.designation in PIPES]
    return some[int(rng.integers(len(some)))]


def size(rng: np.random.Generator, only_twins: bool) -> ThreadSize:
    """Draw a size."""
    if only_twins:
        pairs = twins()
        return pairs[int(rng.integers(len(pairs)))]
    families = list(FAMILIES)
    group = sizes()[families[int(rng.choice(len(families), p=list(FAMILIES.values())))]]
    weight = np.array([COMMON[s.commonness] for s in group])
    return group[int(rng.choice(len(group), p=weight / weight.sum()))]


def form_of(of: ThreadSize, rng: np.random.Generator) -> Form:
    """Return the form of a size; a 60 degree root is rounded by 0.125 P (least) to H/6."""
    if of.family == "NPT":
        return NPT_60
    if of.angle_deg == 60.0:
        return replace(ISO_60, root_radius=float(rng.uniform(0.125, 0.1443)))
    return WHITWORTH_55 if of.angle_deg == 55.0 else BA_47


def cut(
    of: ThreadSize, rng: np.random.Generator, *, turns: float, worn: bool, dirty: bool = False
) -> Cut:
    """Draw a thread of a size within its usual class.

    Parameters
    ----------
    of : ThreadSize
        The size.
    rng : Generator
        The source of chance.
    turns : float
        Length over pitch.
    worn : bool
        Take 0.03 to 0.08 mm off each crest.
    dirty : bool
        Dent some crests.
    """
    p, form = of.pitch_mm, form_of(of, rng)
    length = turns * p
    if of.taper:
        shift = of.taper * (length - (of.gauge_length_mm or 0.0))
        move = of.taper * float(rng.uniform(-0.8, 0.8)) * of.position_mm[0]
        pitch_diameter = of.basic_pitch_diameter_mm + shift + move
        full = pitch_diameter + 2 * form.crest_height * p
        major = full - float(rng.uniform(0, 0.7)) * of.truncation_mm
    else:
        limits = of.external[0]
        pitch_diameter = float(rng.uniform(*limits.pitch_diameter_mm))
        major = float(rng.uniform(*limits.major_mm))
        full = pitch_diameter + 2 * form.crest_height * p
        if major > full and form.crest_radius is None:
            # A crest narrower than the basic flat, never sharper than a third of it.
            top = min(major - pitch_diameter, 2 * p * (form.half_triangle * 0.92))
            form = replace(form, crest=top / (2 * p))
            full = pitch_diameter + 2 * form.crest_height * p
        major = min(major, full)
    wear = float(rng.uniform(0.03, 0.08)) if worn else 0.0
    wear = min(wear, 0.25 * form.depth * p)
    crest_cut = (full - major) / 2 + wear
    deep = form.depth * p
    nicks = tuple(
        Nick(
            z=float(rng.uniform(0, length)),
            angle_deg=float(rng.uniform(0, 360)),
            depth=float(rng.uniform(0.1, 0.4)) * deep,
            radius=float(rng.uniform(0.1, 0.5)),
        )
        for _ in range(int(rng.integers(1, 5)) if dirty else 0)
    )
    return Cut(
        name=of.designation,
        worn_mm=wear,
        thread=Thread(
            form=form,
            pitch=p,
            thread_length=length,
            major=full - 2 * crest_cut,
            taper=of.taper,
            crest_cut=crest_cut,
            nicks=nicks,
            chamfer=float(rng.uniform(0.5, 1.4)) * deep,
            run_out=float(rng.uniform(0.5, 2.5)) * p,
            phase_deg=float(rng.uniform(0, 360)),
        ),
    )


def special(rng: np.random.Generator) -> Cut:
    """Draw a thread of no series: pitch and diameter between the standard ones."""
    pitch = float(rng.choice([0.92, 1.12, 1.37, 1.62, 1.9, 2.3]) * rng.uniform(0.99, 1.01))
    major = float(rng.uniform(7, 28))
    turns = float(rng.uniform(5, 11))
    thread = Thread(
        form=ISO_60,
        pitch=pitch,
        thread_length=turns * pitch,
        major=major,
        run_out=pitch,
        phase_deg=float(rng.uniform(0, 360)),
    )
    return Cut(name=f"special {major:.1f}x{pitch:.2f}", thread=thread, worn_mm=0.0)
