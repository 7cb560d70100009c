"""How true are the answers: every photo with a truth file beside it, measured and compared.

``python -m tests.accuracy DIR [DIR...]`` prints one row per thread: the verdict against the truth,
and each quantity's error with its size in units of u. ``!`` marks an error beyond the limit that
holds for clean photos. Then come the bands of :mod:`tests.gate`, and what has moved since the
samples' stored table. ``--json FILE`` keeps the figures, ``--store`` makes the stored table anew.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

import pitchcam
from pitchcam.errors import PitchcamError
from pitchcam.records import Measurement, ScaleSpec, ThreadResult

SAMPLES = Path(__file__).resolve().parents[1] / "samples"
#: Limits on a clean photo: pitch as a share, diameters in mm, angle in degrees, taper.
LIMITS = {"pitch_mm": 0.002, "major_mm": 0.06, "angle_deg": 1.5, "taper": 0.008}
COVERAGE_K = 2.0
QUANTITIES = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm", "angle_deg", "taper")
_RIGHT = ("named", "candidate", "multi-start")
# Words of a truth's expected refusal -> codes of pitchcam.flags that give that reason.
_REASONS = {
    "blurred": {"blurred"},
    "exposed": {"over-exposed"},
    "cut": {"cut"},
    "touching": {"touching"},
    "turns": {"few-turns"},
    "no threaded": {"no-thread", "no-part"},
    "no part": {"no-part"},
    "reference found": {"no-reference"},
    "disagree": {"references-disagree"},
}
# A measured thread belongs to a truth when pitch and diameter are nearer than these shares; two
# fittings of one box never differ by less in both.
_SAME_PITCH, _SAME_MAJOR = 0.04, 0.08
#: Half of a pipe thread's taper, by which the two threads of a nipple are told apart.
_SAME_TAPER = 0.03


@dataclass
class Row:
    """One thread of one photo, or a photo that must be refused."""

    photo: str
    quality: str
    truth: str
    outcome: str
    answer: str
    probability: float | None = None
    errors: dict[str, float] = field(default_factory=dict)
    in_u: dict[str, float] = field(default_factory=dict)
    read: dict[str, tuple[float, float]] = field(default_factory=dict)
    seconds: float = 0.0

    @property
    def beyond(self) -> list[str]:
        """Quantities whose error is beyond the clean limit."""
        return [k for k, limit in LIMITS.items() if abs(self.errors.get(k, 0.0)) > limit]

    @property
    def passed(self) -> bool:
        """Whether the row is as it must be for its quality."""
        if self.quality == "refuse":
            return self.outcome == "refused"
        if self.quality == "workshop":
            return self.outcome in (*_RIGHT, "refused")
        if self.quality == "clean":
            return self.outcome in _RIGHT and not self.beyond
        return self.outcome in (*_RIGHT, "refused")


def scale_of(truth: dict[str, Any]) -> ScaleSpec:
    """Return the reference as the truth file says a user would state it."""
    stated = dict(truth["scale"])
    if stated["source"] == "sheet":
        stated["sheet_bar_mm"] = stated.pop("mm", None)
    known = {f.name for f in fields(ScaleSpec)}
    return ScaleSpec(**{k: v for k, v in stated.items() if k in known})


def assign(truths: list[dict[str, Any]], found: list[ThreadResult]) -> dict[int, int]:
    """Return truth index -> found index, the best-fitting pairs of all."""
    if not truths or not found:
        return {}
    cost = np.full((len(truths), len(found)), 1e3)
    for i, truth in enumerate(truths):
        for j, thread in enumerate(found):
            pitch, major = thread.reading.pitch_mm, thread.reading.major_mm
            if pitch is None or major is None:
                continue
            off = (
                abs(np.log(pitch.value / truth["pitch_mm"])) / _SAME_PITCH,
                abs(np.log(major.value / truth["major_mm"])) / _SAME_MAJOR,
            )
            if max(off) < 1.0:
                # Of two threads alike, where one is not found, the other's taper tells.
                slope = thread.reading.taper
                beside = 0.0 if slope is None else abs(slope.value - truth.get("taper", 0.0))
                cost[i, j] = sum(off) + beside / _SAME_TAPER
    pairs = zip(*linear_sum_assignment(cost), strict=True)
    return {int(i): int(j) for i, j in pairs if cost[i, j] < 1e3}


def true_values(truth: dict[str, Any], thread: ThreadResult) -> dict[str, float]:
    """Return the truth of each quantity, diameters at the station where they were measured.

    A truth file says where its diameters are by ``thread_length_mm`` (the large end) or by
    ``diameter_station_mm``, both from the small end; its minor diameter may follow from the
    thread's depth. What it does not hold is left out, and so are a taper's diameters where it does
    not say their place.
    """
    values = {name: float(truth[name]) for name in QUANTITIES if truth.get(name) is not None}
    if "depth_mm" in truth:
        values.setdefault("minor_mm", truth["major_mm"] - 2 * truth["depth_mm"])
    if not values.get("taper"):
        return values
    here = thread.reading.diameter_station_mm
    there = truth.get("diameter_station_mm", truth.get("thread_length_mm"))
    for name in ("major_mm", "pitch_diameter_mm", "minor_mm"):
        if there is None:
            values.pop(name, None)
        elif name in values and here is not None:
            values[name] -= values["taper"] * (there - here.value)
    return values


def compare(row: Row, truth: dict[str, Any], thread: ThreadResult) -> None:
    """Fill a row with errors (pitch as a share) and their size in u."""
    for name, true in true_values(truth, thread).items():
        quantity = getattr(thread.reading, name)
        if quantity is None:
            continue
        error = quantity.value - true
        row.read[name] = (quantity.value, quantity.u)
        row.errors[name] = error / true if name == "pitch_mm" else error
        row.in_u[name] = error / quantity.u if quantity.u > 0 else float("inf")


def right_reason(row: Row) -> bool:
    """Whether a refusal gives the reason that the truth file expects."""
    codes = set().union(*(c for words, c in _REASONS.items() if words in row.truth))
    return any(code in row.answer for code in codes)


def judge(truth: str, thread: ThreadResult) -> str:
    """Return how the verdict stands to the truth."""
    verdict = thread.verdict
    if verdict.status == "named":
        right = truth in (verdict.designation, *verdict.same_geometry)
        return "named" if right else "WRONG"
    if verdict.status == "ambiguous":
        return "candidate" if truth in {c.designation for c in verdict.candidates} else "missed"
    return "refused" if verdict.status == "unreadable" else verdict.status


def answer_of(thread: ThreadResult) -> str:
    """Return the verdict in a word or two."""
    verdict = thread.verdict
    if verdict.status == "ambiguous":
        return " | ".join(c.designation for c in verdict.candidates[:3])
    return verdict.designation or verdict.status


def measure(truth_file: Path) -> list[Row]:
    """Return the rows of one photo."""
    truth = json.loads(truth_file.read_text(encoding="utf-8"))
    base = {"photo": truth_file.stem, "quality": truth["quality"]}
    start = time.perf_counter()
    try:
        result = pitchcam.identify(truth_file.with_name(truth["file"]), scale_of(truth))
    except PitchcamError as error:
        return _refusal_rows(
            base, truth, f"{error.code}: {error.message}", time.perf_counter() - start
        )
    except Exception as error:  # one broken photo must not hide the others' figures
        rows = _refusal_rows(base, truth, f"{type(error).__name__}: {error}", 0.0)
        return [replace(row, outcome="CRASH") for row in rows]
    seconds = time.perf_counter() - start
    found = [t for part in result.parts for t in part.threads]
    if truth["quality"] == "refuse":
        return _refused(base, truth, result, found, seconds)
    pairs = assign(truth["threads"], found)
    rows = []
    for i, true in enumerate(truth["threads"]):
        row = Row(
            **base, truth=true["designation"], outcome="not found", answer="", seconds=seconds
        )
        if i in pairs:
            thread = found[pairs[i]]
            row.outcome, row.answer = judge(row.truth, thread), answer_of(thread)
            starts = true.get("starts", 1)
            if row.outcome == "off-series" and starts > 1 and starts == thread.reading.starts:
                row.outcome = "multi-start"  # no series has it: measured and not named is right
            row.probability = thread.verdict.probability
            compare(row, true, thread)
        elif not found:
            row.outcome, row.answer = "refused", _codes(result)
        rows.append(row)
    for j, thread in enumerate(found):
        if j not in pairs.values():
            named = thread.verdict.status == "named"
            rows.append(
                Row(
                    **base,
                    truth="(no thread)",
                    outcome="WRONG" if named else "extra",
                    answer=answer_of(thread),
                    seconds=seconds,
                )
            )
    return rows


def _codes(result: Measurement) -> str:
    return ", ".join(flag.code for flag in result.warnings)


def _refusal_rows(
    base: dict[str, str], truth: dict[str, Any], why: str, seconds: float
) -> list[Row]:
    names = [t["designation"] for t in truth["threads"]] or ["(no thread)"]
    if truth["quality"] == "refuse":
        names = [truth.get("expected", "refusal")]
    return [Row(**base, truth=n, outcome="refused", answer=why, seconds=seconds) for n in names]


def _refused(
    base: dict[str, str],
    truth: dict[str, Any],
    result: Measurement,
    found: list[ThreadResult],
    seconds: float,
) -> list[Row]:
    names = [t.verdict.designation for t in found if t.verdict.designation]
    maybe = [answer_of(t) for t in found if t.verdict.status in ("ambiguous", "off-series")]
    outcome = "WRONG" if names else "extra" if maybe else "refused"
    return [
        Row(
            **base,
            truth=truth.get("expected", "refusal"),
            outcome=outcome,
            answer=", ".join(names or maybe) or _codes(result),
            seconds=seconds,
        )
    ]


def cell(row: Row, name: str) -> str:
    """Return an error with its size in u; ``!`` beyond the limit."""
    if name not in row.errors:
        return "-"
    error = row.errors[name]
    shown = f"{100 * error:+.3f}%" if name == "pitch_mm" else f"{error:+.4g}"
    if name in ("major_mm", "pitch_diameter_mm"):
        shown = f"{error:+.3f}"
    elif name == "angle_deg":
        shown = f"{error:+.2f}"
    elif name == "taper":
        shown = f"{error:+.4f}"
    return f"{shown} {row.in_u[name]:+.1f}u{'!' if name in row.beyond else ''}"


def table(rows: list[Row]) -> str:
    """Return the rows as text."""
    heads = [
        "photo",
        "quality",
        "truth",
        "outcome",
        "answer",
        "p",
        "pitch",
        "major mm",
        "pitch dia. mm",
        "angle deg",
        "taper",
        "s",
    ]
    names = ("pitch_mm", "major_mm", "pitch_diameter_mm", "angle_deg", "taper")
    lines = [heads]
    for row in rows:
        chance = "" if row.probability is None else f"{row.probability:.3f}"
        lines.append(
            [
                row.photo,
                row.quality,
                row.truth,
                row.outcome,
                row.answer[:46],
                chance,
                *(cell(row, name) for name in names),
                f"{row.seconds:.2f}",
            ]
        )
    widths = [max(len(line[i]) for line in lines) for i in range(len(heads))]
    return "\n".join(
        "  ".join(c.ljust(w) for c, w in zip(line, widths, strict=True)).rstrip() for line in lines
    )


def summary(rows: list[Row]) -> str:
    """Return the closing figures."""
    real = [r for r in rows if r.quality != "refuse" and r.truth != "(no thread)"]
    refuse = [r for r in rows if r.quality == "refuse"]
    clean = [r for r in real if r.quality == "clean"]
    box = [r for r in real if r.quality == "box"]
    sizes = [z for r in real for z in r.in_u.values()]
    inside = sum(abs(z) <= COVERAGE_K for z in sizes)
    per = Counter(k for r in real for k, z in r.in_u.items() if abs(z) > COVERAGE_K)
    counts = Counter(r.outcome for r in rows)
    true_reason = sum(r.outcome == "refused" and right_reason(r) for r in refuse)
    lines = [
        "outcomes: " + ", ".join(f"{n} {k}" for k, n in sorted(counts.items())),
        f"wrong names: {counts['WRONG']}",
        f"clean: {sum(r.passed for r in clean)} of {len(clean)} named or among the candidates "
        "and within the limits",
        f"refusals: {sum(r.passed for r in refuse)} of {len(refuse)} without a designation, "
        f"{true_reason} with the true reason",
        f"boxes: {sum(bool(r.errors) for r in box)} of {len(box)} threads found",
        f"within {COVERAGE_K:g}u: {inside} of {len(sizes)} quantities"
        + (f" ({100 * inside / len(sizes):.1f} %); outside: {dict(per)}" if sizes else ""),
    ]
    return "\n".join(lines)


def measure_all(folders: Iterable[Path], only: str = "") -> list[Row]:
    """Return the rows of every photo with a truth file; a dot each on standard error."""
    rows: list[Row] = []
    for folder in folders:
        for truth_file in sorted(folder.glob("*.json")):
            if (
                only in truth_file.stem
                and {"scale", "threads", "file"} <= json.loads(truth_file.read_text()).keys()
            ):
                rows += measure(truth_file)
                print(".", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return rows


def main() -> int:
    """Measure every photo with a truth file and print the table."""
    from tests import gate

    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path, metavar="DIR")
    parser.add_argument("--only", default="", help="part of the photos' names")
    parser.add_argument("--json", type=Path, help="keep the figures in this file")
    parser.add_argument("--store", action="store_true", help="make the samples' stored table anew")
    options = parser.parse_args()
    rows = measure_all(options.folders, options.only)
    if not rows:
        parser.error("no truth files (NAME.json with scale and threads) there")
    print(table(rows), summary(rows), gate.figures(rows), sep="\n\n")
    beyond = gate.outside(rows)
    print("\ngate:", "\n  ".join(beyond) if beyond else "all within the bands")
    if options.json:
        kept = [asdict(r) | {"passed": r.passed} for r in rows]
        options.json.write_text(json.dumps(kept, indent=1))
    if [f.resolve() for f in options.folders] == [SAMPLES] and not options.only:
        if options.store:
            gate.keep(rows)
        told = gate.moved(rows)
        print("\nmoved since the stored table:", "\n  ".join(told) or "nothing")
    return 0 if not beyond and all(r.passed or r.outcome == "extra" for r in rows) else 1


if __name__ == "__main__":
    from tests.accuracy import main as run  # the module by its name, as the gate knows it

    sys.exit(run())
