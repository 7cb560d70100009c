"""Time of the search for chains as a ratio to reading the stock: python -m tests.benchmark_adapt.

The stock is invented: every row's ends, sizes and ratings are drawn at random.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from pitchcam.joining.chains.adapt import adapt
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.stock.sheet import read_stock

SIZES = (
    "M10x1",
    "M12x1.5",
    "M14x1.5",
    "M16x1.5",
    "M18x1.5",
    "M20x1.5",
    "M22x1.5",
    "M27x2",
    "1/8-27 NPT",
    "1/4-18 NPT",
    "3/8-18 NPT",
    "1/2-14 NPT",
    "G 1/8",
    "G 1/4",
    "G 3/8",
    "G 1/2",
    "R 1/8",
    "R 1/4",
    "R 3/8",
    "R 1/2",
    "7/16-20 UNF",
    "9/16-18 UNF",
    "3/4-16 UNF",
    "7/8-14 UNF",
    "5/8-18 UNF",
    "1/2-20 UNF",
    "hose 6",
    "hose 8",
    "hose 10",
    "hose 12",
    "hose 16",
    "M10x1 taper",
)


def end(rng: random.Random) -> tuple[str, str]:
    """Return a random end and its gender, as a sheet writes them."""
    size, gender = rng.choice(SIZES), rng.choice(("male", "female"))
    if size.startswith("hose") or size.endswith("taper"):
        gender = "male"
    if size.startswith("R ") and gender == "female":
        size = rng.choice(("Rc", "Rp")) + size[1:]
    return size, gender


def sheet(rows: int, seed: int) -> str:
    """Return an invented stock sheet."""
    rng = random.Random(seed)
    lines = ["id,end_a,gender_a,end_b,gender_b,bore,length,hex,material,pressure,temperature,count"]
    for i in range(rows):
        sides = (*end(rng), *end(rng))
        lines.append(
            ",".join(
                (
                    f"S{i:05}",
                    *sides,
                    str(rng.choice((3, 4, 5))),
                    str(rng.randint(30, 60)),
                    str(rng.choice((14, 17, 19, 22, 24, 27))),
                    rng.choice(("brass", "steel")),
                    str(rng.choice((10, 16, 40, 160))),
                    str(rng.choice((100, 120, 150))),
                    str(rng.randint(0, 5)),
                )
            )
        )
    return "\n".join(lines) + "\n"


def main(rows: int = 5000, questions: int = 200) -> None:
    """Print how long reading the sheet and answering the questions took."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "stock.csv"
        path.write_text(sheet(rows, 1), encoding="utf-8")
        read_stock(path)  # the first reading also loads the thread tables
        start = time.perf_counter()
        stock = read_stock(path)
        reading = time.perf_counter() - start
    rng = random.Random(2)
    times, pieces = [], []
    for _ in range(questions):
        port, part = (rng.choice([s for s in SIZES if not s.startswith("R ")]) for _ in range(2))
        question = Question(
            port=parse_side(port.removesuffix(" taper"), "internal"),
            part=parse_side(part, "external"),
            bore_mm=rng.choice((0.0, 4.0)),
            pressure_bar=rng.choice((None, 12.0)),
            temperature_c=rng.choice((None, 110.0)),
            one_wire=rng.random() < 0.3,
        )
        start = time.perf_counter()
        chains = adapt(question, stock)
        times.append(time.perf_counter() - start)
        pieces.append(len(chains[0].links) if chains else None)
    times.sort()
    print(f"{rows} rows read in {reading:.3f} s; {questions} questions, each for the best 3 ways")
    for name, value in (
        ("median", median(times)),
        ("95 %", times[int(0.95 * questions)]),
        ("slowest", times[-1]),
    ):
        print(f"  {name:<8} {value:.3f} s, {value / reading:.2f} of the reading")
    counts = ", ".join(f"{pieces.count(n)} with {n}" for n in (0, 1, 2, 3))
    print(f"  pieces of the best way: {counts}, {pieces.count(None)} with none")


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:3]))
