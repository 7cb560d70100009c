"""Basic sizes against the tables by which the trade knows them; origins in the files' heads."""

import csv
import math
from pathlib import Path

import pytest

from pitchcam.records import MM_PER_INCH
from pitchcam.series import ThreadSize, find, load_series

DATA = Path(__file__).parent / "data"


def table(name: str) -> list[dict[str, str]]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(x for x in lines if not x.startswith("#")))


def basic(size: ThreadSize) -> tuple[float, float, float]:
    return size.basic_major_mm, size.basic_pitch_diameter_mm, size.basic_minor_mm


@pytest.mark.parametrize("row", table("british_from_memory.csv"), ids=lambda r: r["designation"])
def test_british_sizes(row: dict[str, str]) -> None:
    size = find(row["designation"])
    unit, rounding = (MM_PER_INCH, 0.00011) if row["unit"] == "in" else (1.0, 0.0051)
    handbook = [float(row[name]) for name in ("major", "effective", "minor")]
    assert [x / unit for x in basic(size)] == pytest.approx(handbook, abs=rounding)


@pytest.mark.parametrize("number", range(17))
def test_ba_follows_its_rule(number: int) -> None:
    # BS 93: P = 0.9^k and D = 6 P^1.2, both to two figures.
    size = find(f"{number} BA")
    rule = 0.9**number
    assert size.pitch_mm == pytest.approx(rule, abs=0.0051)
    assert size.basic_major_mm == pytest.approx(6 * rule**1.2, abs=0.051)
    assert size.angle_deg == 47.5 and size.taper == 0.0


@pytest.mark.parametrize("row", table("iso724_from_memory.csv"), ids=lambda r: r["designation"])
def test_metric_sizes(row: dict[str, str]) -> None:
    size = find(row["designation"])
    assert basic(size)[1:] == pytest.approx((float(row["d2_mm"]), float(row["d1_mm"])), abs=0.00051)


@pytest.mark.parametrize("row", table("pipe_from_memory.csv"), ids=lambda r: r["size"])
def test_pipe_sizes(row: dict[str, str]) -> None:
    g = find(f"G {row['size']}")
    assert g.basic_major_mm / MM_PER_INCH == pytest.approx(float(row["major_in"]), abs=0.00051)
    assert g.tpi == float(row["tpi"]) and g.gauge_length_mm is None and g.taper == 0.0
    if row["gauge_turns"]:
        male, port = find(f"R {row['size']}"), find(f"Rc {row['size']}")
        turns = float(row["gauge_turns"]) * g.pitch_mm
        assert male.gauge_length_mm == port.gauge_length_mm == pytest.approx(turns, abs=0.06)
        assert male.taper == port.taper == 1 / 16
        assert find(f"Rp {row['size']}").gauge_length_mm is None


@pytest.mark.parametrize("row", table("npt_from_memory.csv"), ids=lambda r: r["designation"])
def test_npt_sizes(row: dict[str, str]) -> None:
    size = find(row["designation"])
    assert size.gauge_length_mm is not None and size.useful_length_mm is not None
    at_plane = size.basic_pitch_diameter_mm / MM_PER_INCH
    assert at_plane == pytest.approx(float(row["e1_in"]), abs=1.5e-5)
    l1 = size.gauge_length_mm / MM_PER_INCH
    assert l1 == pytest.approx(float(row["l1_in"]), abs=1e-6)
    assert at_plane - l1 / 16 == pytest.approx(float(row["e0_in"]), abs=1.5e-5)
    assert size.useful_length_mm / MM_PER_INCH == pytest.approx(float(row["l2_in"]), abs=6e-5)


@pytest.mark.parametrize(
    ("designation", "standard", "family", "angle_deg"),
    [
        ("M14x1.5", "ISO 261", "M", 60),
        ("M14x1.5 taper", "DIN 158-1", "M taper", 60),
        ("1/2-20 UNF", "ASME B1.1", "UNF", 60),
        ("1/2-28 UNEF", "ASME B1.1", "UNEF", 60),
        ("1/2-12 BSW", "BS 84", "BSW", 55),
        ("1/2-16 BSF", "BS 84", "BSF", 55),
        ("1/4-26 BS Brass", "26 TPI brass", "BS Brass", 55),
        ("5/8-18 BS Conduit", "BS 31", "BS Conduit", 55),
        ("9/16-20 BSC", "BS 811", "BSC", 60),
        ("2 BA", "BS 93", "BA", 47.5),
        ("G 1/2", "ISO 228-1", "G", 55),
        ("R 1/2", "ISO 7-1", "R", 55),
        ("Rp 1/2", "ISO 7-1", "Rp", 55),
        ("Rc 1/2", "ISO 7-1", "Rc", 55),
        ("1/2-14 NPT", "ASME B1.20.1", "NPT", 60),
        ("1/2-14 NPTF", "ASME B1.20.3", "NPTF", 60),
        ("1/2-14 NPSM", "ASME B1.20.1", "NPSM", 60),
        ("Pg 16", "DIN 40430", "Pg", 80),
    ],
)
def test_a_size_names_its_standard_and_has_its_angle(
    designation: str, standard: str, family: str, angle_deg: float
) -> None:
    size = find(designation)
    assert (size.standard, size.family, size.angle_deg) == (standard, family, angle_deg)


@pytest.mark.parametrize(
    ("designation", "tpi"),
    [("1/2-20 UNF", 20), ("1-11.5 NPT", 11.5), ("G 1", 11), ("Pg 21", 16), ("9/16-20 BSC", 20)],
)
def test_inch_threads_count_by_the_inch(designation: str, tpi: float) -> None:
    size = find(designation)
    assert size.tpi == tpi
    assert size.pitch_mm == pytest.approx(25.4 / tpi) and size.tpi_value == pytest.approx(tpi)


def test_metric_and_ba_have_no_count_by_the_inch_but_one_derived() -> None:
    for name, value in (("M10x1", 25.4), ("0 BA", 25.4), ("M14x1.5", 25.4 / 1.5)):
        assert find(name).tpi is None
        assert find(name).tpi_value == pytest.approx(value)


@pytest.mark.parametrize(
    ("designation", "genders"),
    [
        ("M14x1.5", {"external", "internal"}),
        ("R 1/2", {"external"}),
        ("Rp 1/2", {"internal"}),
        ("Rc 1/2", {"internal"}),
        ("M14x1.5 taper", {"external"}),
        ("1/2-14 NPT", {"external", "internal"}),
        ("G 1/2", {"external", "internal"}),
    ],
)
def test_genders(designation: str, genders: set[str]) -> None:
    size = find(designation)
    assert set(size.genders) == genders
    assert bool(size.external) == ("external" in genders)
    assert bool(size.internal) == ("internal" in genders)


@pytest.mark.parametrize(
    ("designation", "commonness"),
    # What a fitter meets every week, every month, hardly ever: judgement, kept in the tables.
    [("M14x1.5", "common"), ("1/8-27 NPT", "common"), ("0 BA", "usual"), ("1/2-14 NPTF", "rare")],
)
def test_commonness(designation: str, commonness: str) -> None:
    assert find(designation).commonness == commonness


@pytest.mark.parametrize(
    ("designation", "at_end_mm", "at_plane_mm", "on_mm"),
    # ISO 7-1: 1/16 on the diameter; R 1/2 has its plane 8.2 mm from the end.
    [("R 1/2", 20.955 - 8.2 / 16, 20.955, 20.955 + 1.0), ("G 1/2", 20.955, 20.955, 20.955)],
)
def test_a_taper_grows_from_its_small_end(
    designation: str, at_end_mm: float, at_plane_mm: float, on_mm: float
) -> None:
    size = find(designation)
    assert size.major_at(0.0) == pytest.approx(at_end_mm)
    assert size.major_at(8.2) == pytest.approx(at_plane_mm)
    assert size.major_at(8.2 + 16) == pytest.approx(on_mm)


def test_sizes_are_told_by_their_names() -> None:
    sizes = load_series()
    assert len({hash(s) for s in sizes}) == len(sizes)
    assert len({s.designation for s in sizes}) == len(sizes)


@pytest.mark.parametrize("d", [6, 8, 10, 12, 14, 16, 18, 22, 27, 30])
def test_a_metric_taper_screws_into_its_parallel_port(d: int) -> None:
    """DIN 158-1: the same pitch and diameter at the gauge plane as the parallel thread."""
    for size in load_series():
        if size.family == "M taper" and size.size == f"M{d}":
            port = find(size.designation.removesuffix(" taper"))
            assert basic(size) == pytest.approx(basic(port))
            # What is left of the thread beyond the gauge plane screws in by hand and wrench.
            assert size.gauge_length_mm is not None and size.useful_length_mm is not None
            assert 2 * size.pitch_mm < size.gauge_length_mm < size.useful_length_mm


def test_npsm_has_the_pitch_diameter_of_npt_at_its_plane() -> None:
    # ASME B1.20.1: straight threads of the size that the taper has at the gauge plane.
    for size in load_series():
        if size.family == "NPSM":
            taper = find(size.designation.replace("NPSM", "NPT"))
            assert size.basic_pitch_diameter_mm == pytest.approx(
                taper.basic_pitch_diameter_mm, abs=0.002
            )
            assert size.pitch_mm == taper.pitch_mm


def test_conduit_glands_grow_with_their_numbers() -> None:
    sizes = [s for s in load_series() if s.family == "Pg"]
    numbers = [float(s.size) for s in sizes]
    assert numbers == sorted(numbers)
    assert [s.basic_major_mm for s in sizes] == sorted(s.basic_major_mm for s in sizes)
    for s in sizes:
        # An 80 degree triangle is P / (2 tan 40) high; a fifth of it is rounded off.
        height = s.pitch_mm / (2 * math.tan(math.radians(40)))
        assert s.basic_major_mm - s.basic_minor_mm == pytest.approx(1.6 * height)
