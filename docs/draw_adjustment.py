"""Draw docs/adjustment.svg from the rows of ``python -m tests.several``.

python -m tests.several --parts 24 --seed 3 -o same.json
python -m tests.several --parts 24 --seed 3 --another-pin -o other.json
python docs/draw_adjustment.py same.json other.json
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.figure import Figure

PANELS = {
    "pitch_mm": ("pitch, µm", 1000.0),
    "major_mm": ("major diameter, µm", 1000.0),
    "angle_deg": ("thread angle, °", 1.0),
}
#: Blue and orange keep apart for colour-blind eyes.
DRAWN = (("the same pin", "#0072b2", "o", "-"), ("another pin in the second", "#d55e00", "s", "--"))


def draw(files: list[Path], target: Path) -> None:
    """Draw median u (lines) and median error (marks) by the number of photos."""
    matplotlib.rcParams |= {"svg.hashsalt": "pitchcam", "svg.fonttype": "none", "font.size": 9}
    figure = Figure(figsize=(8.0, 2.8), layout="constrained")
    axes = figure.subplots(1, len(PANELS))
    for axis, (name, (label, factor)) in zip(axes, PANELS.items(), strict=True):
        for file, (words, colour, mark, line) in zip(files, DRAWN, strict=True):
            rows = json.loads(file.read_text())
            counts = sorted({r["photos"] for r in rows})

            def median(key: str, rows=rows, counts=counts, name=name, factor=factor):
                return [
                    factor
                    * float(
                        np.median(
                            [abs(r[key][name]) for r in rows if r["photos"] == n and name in r[key]]
                        )
                    )
                    for n in counts
                ]

            axis.plot(counts, median("u"), line, color=colour, label=f"u, {words}")
            axis.plot(counts, median("errors"), mark, color=colour, label=f"error, {words}")
        axis.set(xlabel="photos", title=label, xticks=counts, ylim=(0, None))
        axis.grid(color="#e3e6ea")
    figure.legend(*axes[0].get_legend_handles_labels(), loc="outside lower center", ncols=2)
    figure.savefig(target, format="svg", metadata={"Date": None})


if __name__ == "__main__":
    draw([Path(a) for a in sys.argv[1:3]], Path(__file__).with_name("adjustment.svg"))
