"""Lists 48 pairs of port and part through `join` with the bench's stock: plan, or why not.

``python -m tests.joining.bench_pairs`` prints one line a pair.
"""

from __future__ import annotations

from pathlib import Path

from pitchcam.errors import PitchcamError
from pitchcam.joining.brazing.choose import choose_donors
from pitchcam.joining.brazing.plan import Duty, JoinPlan
from pitchcam.joining.chains.question import Question, parse_side
from pitchcam.joining.stock.sheet import read_stock

BENCH = Path(__file__).parents[2] / "samples" / "stock" / "bench.csv"
PORTS = ("M14x1.5", "M18x1.5", "M22x1.5", "G 1/4", "G 3/8", "Rc 1/4", "1/4-18 NPT", "3/4-16 UNF")
PARTS = ("M10x1", "M14x1.5", "1/8-27 NPT", "G 1/4", "hose 8", "hose 10")
STOCK = read_stock(BENCH)
SERVICES = {"hose": "coolant"}


def service_for(part: str) -> str:
    """A hose is for coolant; anything else is a sender or gauge in oil."""
    return SERVICES.get(part.split()[0], "oil")


def pairs() -> list[tuple[str, str, str]]:
    return [(port, part, service_for(part)) for port in PORTS for part in PARTS]


def joined(port: str, part: str, service: str) -> JoinPlan | PitchcamError:
    question = Question(port=parse_side(port, "internal"), part=parse_side(part, "external"))
    try:
        return choose_donors(question, STOCK, Duty(service=service))
    except PitchcamError as error:
        return error


def line(port: str, part: str, service: str) -> str:
    result = joined(port, part, service)
    head = f"{port:<11} {part:<11} {service:<8}"
    if isinstance(result, PitchcamError):
        return f"{head} refused: {result}"
    form, load = result.form, result.load
    laps = " and ".join(f"{lap.spigot_mm:g} x {lap.overlap_mm:g}" for lap in form.laps)
    return (
        f"{head} {' + '.join(d.fitting.id for d in result.donors)}: {form.name}, {laps} mm, "
        f"{load.torque_n_m:.0f} N m through it, {load.stress_mpa:.1f} of {load.allowed_mpa:g} "
        "MPa"
    )


if __name__ == "__main__":
    for pair in pairs():
        print(line(*pair))
