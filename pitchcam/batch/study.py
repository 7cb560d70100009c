"""Repeatability study: the same parts photographed several times, and where the scatter comes from.

Variance components by restricted maximum likelihood from statsmodels; the figures are those that
gauge studies give (repeatability, reproducibility, part variation, distinct categories) and the
repeatability and reproducibility limits of ISO 5725-6 (2.8 standard deviations).
"""

from __future__ import annotations

import math
import warnings
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from pitchcam.batch.source import Listed
from pitchcam.errors import PitchcamError, UsageError
from pitchcam.files import write_whole
from pitchcam.frozen import dataclass
from pitchcam.store.entries import record_id
from pitchcam.store.export import csv_bytes
from pitchcam.store.rows import ThreadRow, entry_rows
from pitchcam.store.store import Store

#: Quantities that are studied, with the unit and the decimals that people are shown.
STUDIED: Mapping[str, tuple[str, int]] = {
    "pitch_mm": ("mm", 5),
    "major_mm": ("mm", 4),
    "pitch_diameter_mm": ("mm", 4),
    "angle_deg": ("deg", 3),
    "taper": ("per length", 5),
}

#: Two readings of one part differ by more than this many standard deviations in 5 % of pairs
#: (1.96 times the root of 2; ISO 5725-6).
LIMIT_FACTOR = 2.8

#: 1.41 part variations per repeatability and reproducibility: the number of groups of parts that
#: the readings tell apart (root of 2; as gauge studies count it, from memory).
_CATEGORIES = math.sqrt(2)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One photo's value of one quantity of one part; ``u`` is the standard uncertainty stated."""

    part: str
    camera: str
    value: float
    u: float


@dataclass(frozen=True, kw_only=True)
class Components:
    """Standard deviations by source, in the quantity's unit; None where the design has no such.

    ``photo`` is the repeatability: same part, same camera, another photo. ``camera`` is the
    camera's own offset and ``part_camera`` how it differs from part to part. ``stated_u`` is the
    root mean square of the standard uncertainties that came with the readings.
    """

    quantity: str
    readings: int
    parts: int
    cameras: int
    photo: float
    camera: float | None
    part_camera: float | None
    part: float | None
    stated_u: float

    @property
    def reproducibility(self) -> float:
        """Standard deviation over cameras, without that of photos."""
        return math.hypot(self.camera or 0.0, self.part_camera or 0.0)

    @property
    def gauge(self) -> float:
        """Repeatability and reproducibility together."""
        return math.hypot(self.photo, self.reproducibility)

    @property
    def categories(self) -> int | None:
        """Number of groups of these parts that the readings tell apart."""
        if self.part is None or self.gauge == 0:
            return None
        return int(_CATEGORIES * self.part / self.gauge)


def plain_name(quantity: str) -> str:
    """Return a quantity's name as people write it: ``pitch_diameter_mm`` is pitch diameter."""
    return quantity.removesuffix("_mm").removesuffix("_deg").replace("_", " ")


def run_study(record: Path, photos: Sequence[Listed], out: Path) -> str:
    """Study the photos' results in the record; write ``study.csv`` and ``study.pdf``.

    Returns
    -------
    str
        The figures as text.

    Raises
    ------
    UsageError
        If no part was photographed at least twice.
    PitchcamError
        If statsmodels (the extra ``study``) is not installed.
    """
    from pitchcam.batch.study_plot import study_pdf

    with Store(record, must_exist=True) as store:
        readings = collect(store, photos)
    results = [components(name, got) for name, got in readings.items() if len(got) > 1]
    names = list(_row(results[0]))
    write_whole(out / "study.csv", csv_bytes([_row(result) for result in results], names))
    write_whole(out / "study.pdf", study_pdf(results, readings))
    return "\n".join(text(result) for result in results)


def collect(store: Store, photos: Iterable[Listed]) -> dict[str, list[Reading]]:
    """Return the readings by quantity; threads of one part are told apart by their diameter.

    Raises
    ------
    UsageError
        If a photo has no part label, or no part was read at least twice.
    """
    rows: list[tuple[str, str, ThreadRow]] = []
    for photo in photos:
        if not photo.part_label:
            raise UsageError(
                f"{photo.name} does not say which part it shows.",
                "Put the photos of each part in a folder of its own, or list them with --list.",
            )
        job = photo.job()
        entry = store.entry(record_id(*job.key))
        if entry is None or entry.outcome.document is None:
            continue
        threads = [row for row in entry_rows(entry) if row.thread and "major_mm" in row.quantities]
        threads.sort(key=lambda row: -row.quantities["major_mm"][0])
        for i, row in enumerate(threads):
            label = photo.part_label + ("" if len(threads) == 1 else f" thread {i + 1}")
            rows.append((label, photo.camera_label, row))
    return _repeated(rows)


def _repeated(rows: Sequence[tuple[str, str, ThreadRow]]) -> dict[str, list[Reading]]:
    readings: dict[str, list[Reading]] = {}
    for quantity in STUDIED:
        of_part: dict[str, list[Reading]] = defaultdict(list)
        for part, camera, row in rows:
            if quantity in row.quantities:
                value, u = row.quantities[quantity]
                of_part[part].append(Reading(part=part, camera=camera, value=value, u=u))
        readings[quantity] = [r for many in of_part.values() if len(many) > 1 for r in many]
    if not any(readings.values()):
        raise UsageError("no part was read in at least two photos.", "Photograph each part again.")
    return readings


def components(quantity: str, readings: Sequence[Reading]) -> Components:
    """Return the variance components of one quantity, by restricted maximum likelihood.

    A source is left out where the design cannot show it: one part, one camera, or no camera that
    photographed a part twice (then its share is in ``photo``).
    """
    parts = {r.part for r in readings}
    cameras = {r.camera for r in readings}
    cells = {(r.part, r.camera) for r in readings}
    sources = ["camera"] if len(cameras) > 1 else []
    if len(cells) > max(len(parts), len(cameras)) and len(cells) < len(readings):
        sources.append("part_camera")
    found = _within_parts(readings, sources)
    return Components(
        quantity=quantity,
        readings=len(readings),
        parts=len(parts),
        cameras=len(cameras),
        photo=found["photo"],
        camera=found.get("camera"),
        part_camera=found.get("part_camera"),
        part=_between_parts(readings, found) if len(parts) > 1 else None,
        stated_u=math.sqrt(sum(r.u**2 for r in readings) / len(readings)),
    )


def _within_parts(readings: Sequence[Reading], sources: Sequence[str]) -> dict[str, float]:
    """Return the standard deviations of photo and ``sources``, with parts as fixed effects.

    Parts of a box differ a thousand times more than photos of one part do; as one more random
    effect they would leave the optimiser without digits for the rest. For a balanced design the
    estimates are the same.
    """
    means = _part_means(readings)
    rests = [r.value - means[r.part] for r in readings]
    freedom = len(readings) - len(means)
    spread = math.sqrt(sum(rest**2 for rest in rests) / freedom)
    if spread == 0 or not sources:
        return {"photo": spread, **dict.fromkeys(sources, 0.0)}
    pd, mixed = _statistics()
    table = pd.DataFrame(
        {
            "rest": [rest / spread for rest in rests],
            "all": 1,
            "part": [r.part for r in readings],
            "camera": [r.camera for r in readings],
            "part_camera": [f"{r.part}/{r.camera}" for r in readings],
        }
    )
    with warnings.catch_warnings():
        # A component of zero lies on the boundary, which statsmodels warns of; it is an answer.
        warnings.simplefilter("ignore")
        model = mixed.from_formula(
            "rest ~ 0 + C(part)",
            groups="all",
            re_formula="0",
            data=table,
            vc_formula={name: f"0 + C({name})" for name in sources},
        )
        # Searches without derivatives: the gradient ones stop early at a zero component.
        fit = model.fit(reml=True, method=["nm", "powell"], maxiter=5000)
    found = dict(zip(model.exog_vc.names, fit.vcomp, strict=True))
    deviations = {name: spread * math.sqrt(max(0.0, v)) for name, v in found.items()}
    return {"photo": spread * math.sqrt(fit.scale), **deviations}


def _between_parts(readings: Sequence[Reading], found: Mapping[str, float]) -> float:
    """Return the standard deviation of parts: that of their means less what photos put into it."""
    means = list(_part_means(readings).values())
    middle = sum(means) / len(means)
    variance = sum((m - middle) ** 2 for m in means) / (len(means) - 1)
    photos = Counter(r.part for r in readings)
    cells = Counter(part for part, _ in {(r.part, r.camera) for r in readings})
    for part, count in photos.items():
        share = found["photo"] ** 2 / count + found.get("part_camera", 0.0) ** 2 / cells[part]
        variance -= share / len(means)
    return math.sqrt(max(0.0, variance))


def _part_means(readings: Sequence[Reading]) -> dict[str, float]:
    of_part: dict[str, list[float]] = defaultdict(list)
    for reading in readings:
        of_part[reading.part].append(reading.value)
    return {part: sum(values) / len(values) for part, values in of_part.items()}


def _statistics() -> tuple[Any, Any]:
    try:
        import pandas as pd
        from statsmodels.regression.mixed_linear_model import MixedLM
    except ImportError as error:
        raise PitchcamError(
            "--study needs one more package.", "Install it: pip install 'pitchcam[study]'"
        ) from error
    return pd, MixedLM


def _row(result: Components) -> dict[str, Any]:
    decimals = STUDIED[result.quantity][1] + 2

    def shown(value: float | None) -> float | None:
        return None if value is None else round(value, decimals)

    return {
        "quantity": result.quantity,
        "readings": result.readings,
        "parts": result.parts,
        "cameras": result.cameras,
        "repeatability_s": shown(result.photo),
        "camera_s": shown(result.camera),
        "part_camera_s": shown(result.part_camera),
        "gauge_s": shown(result.gauge),
        "part_s": shown(result.part),
        "repeatability_limit": shown(LIMIT_FACTOR * result.photo),
        "reproducibility_limit": shown(LIMIT_FACTOR * result.gauge),
        "categories": result.categories,
        "stated_u": shown(result.stated_u),
    }


def text(result: Components) -> str:
    """Return one quantity's figures as lines for people."""
    unit, decimals = STUDIED[result.quantity]

    def shown(value: float | None) -> str:
        return "not in this design" if value is None else f"{value:.{decimals}f} {unit}"

    lines = [
        f"{plain_name(result.quantity)}: {result.readings} readings, {result.parts} parts, "
        f"{result.cameras} cameras",
        f"  photo to photo (repeatability)  {shown(result.photo)}",
        f"  camera                          {shown(result.camera)}",
        f"  camera, by part                 {shown(result.part_camera)}",
        f"  part to part                    {shown(result.part)}",
        f"  stated standard uncertainty     {shown(result.stated_u)}",
        f"  two photos differ by more than {shown(LIMIT_FACTOR * result.photo)} in 1 of 20 pairs",
    ]
    if result.categories is not None:
        lines.append(f"  the readings tell {result.categories} groups of these parts apart")
    return "\n".join(lines)
