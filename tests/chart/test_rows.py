"""Which sizes stand in the chart, with which drills, on which page, beside which pairs."""

import csv
import io
import re

import pytest

from pitchcam.chart.html import render
from pitchcam.chart.pages import TITLE_ROWS, family_block, paginate
from pitchcam.chart.rows import HEAD, SIZES, chart_pairs, chart_rows, drill_text, to_csv
from pitchcam.chart.svg import enlarged, true_scale
from pitchcam.errors import UsageError
from pitchcam.joining.papers.drawing import SCALES, best_scale, scale_text
from pitchcam.joining.papers.flow import safe
from pitchcam.paper import Placed, text_width_mm
from pitchcam.series import find
from pitchcam.series.drills import METRIC, Drill, TapDrill, tapping_drill
from pitchcam.series.profile import depth_of


def names(*families: str, sizes: str = "bench") -> list[str]:
    return [r.size.designation for r in chart_rows(families, sizes=sizes)]


def test_a_selection_holds_the_narrower_ones() -> None:
    for family in ("M", "UNF", "BSF", "BA"):
        bench, usual, every = (names(family, sizes=s) for s in SIZES)
        assert set(bench) <= set(usual) < set(every), family
    assert "M14x1.5" in names("M") and "M35x1.5" not in names("M")
    # A family without a common size has its usual ones, up to 3/4 in.
    assert names("BSF") and all(find(n).basic_major_mm <= 19.06 for n in names("BSF"))


def test_families_stand_in_the_order_asked() -> None:
    held = [find(n).family for n in names("npt", "G", "m")]
    assert list(dict.fromkeys(held)) == ["NPT", "G", "M"]


@pytest.mark.parametrize(
    ("families", "sizes", "says"),
    [
        (("G",), "some", "there is no selection 'some'. Use bench, usual, all."),
        (("X",), "all", "there is no family 'X'. Families: M, M taper, UNC"),
        (("UNS",), "usual", "no size of these families is met often. Add --sizes all."),
    ],
)
def test_a_chart_that_cannot_be(families: tuple[str, ...], sizes: str, says: str) -> None:
    with pytest.raises(UsageError) as caught:
        chart_rows(families, sizes=sizes)
    assert str(caught.value).startswith(says)


@pytest.mark.parametrize(
    ("family", "designation", "tapped_as"),
    [("R", "R 1/2", "Rc 1/2"), ("M taper", "M14x1.5 taper", "M14x1.5"), ("G", "G 1/2", "G 1/2")],
)
def test_a_male_only_thread_has_the_drill_of_its_port(
    family: str, designation: str, tapped_as: str
) -> None:
    row = next(r for r in chart_rows((family,), sizes="all") if r.size.designation == designation)
    assert row.metric == tapping_drill(find(tapped_as), METRIC)
    assert row.bore_mm == find(designation).basic_minor_mm
    seal = family_block([row], family).seal
    assert seal.endswith(f" Drills are for {family == 'R' and 'Rc' or 'M'}.") == (family != "G")


def drill(name: str = "12.5 mm", share: float | None = 0.77, inside: bool = True) -> TapDrill:
    return TapDrill(
        drill=Drill(name=name, diameter_mm=12.5, kind="metric"),
        engagement=share,
        in_limits=inside,
        source="",
    )


@pytest.mark.parametrize(
    ("held", "says"),
    [
        (None, "-"),
        (drill(), "12.5 mm  77 %"),
        (drill(inside=False), "12.5 mm  77 % *"),
        (drill("45/64", None), "45/64"),
    ],
)
def test_a_drill_in_a_cell(held: TapDrill | None, says: str) -> None:
    assert drill_text(held) == says


def test_the_csv_has_lengths_in_mm_and_says_whose() -> None:
    read = list(csv.DictReader(io.StringIO(to_csv(chart_rows(("M", "NPT"), sizes="usual")))))
    assert tuple(read[0]) == HEAD
    m14 = next(r for r in read if r["designation"] == "M14x1.5")
    assert (m14["pitch_mm"], m14["tpi"], m14["major_mm"]) == ("1.5000", "16.93", "14.000")
    assert (m14["metric_drill"], m14["metric_drill_mm"]) == ("12.5 mm", "12.500")
    assert (m14["metric_engagement_percent"], m14["metric_in_limits"]) == ("77", "yes")
    assert m14["taper"] == "0" and m14["source"].startswith("ISO 261")
    half = next(r for r in read if r["designation"] == "1/2-14 NPT")
    assert (half["inch_drill"], half["taper"]) == ("45/64", "0.0625")
    # Of a taper the share of thread changes along the hole.
    assert half["inch_engagement_percent"] == "" and half["inch_in_limits"] == "yes"


@pytest.mark.parametrize("per_page", [10, 17, 40])
def test_a_family_is_spread_evenly_and_titled(per_page: int) -> None:
    rows = chart_rows(("M", "G"), sizes="usual")
    pages = paginate(rows, per_page)
    for page in pages:
        assert sum(len(b.rows) + TITLE_ROWS for b in page.blocks) <= per_page
    blocks = [b for p in pages for b in p.blocks if b.title.startswith("M: ")]
    counts = [len(b.rows) for b in blocks]
    # The last block takes what is left, the others are alike.
    assert max(counts) - min(counts[:-1] or counts) == 0 and counts[-1] <= counts[0]
    if len(blocks) > 1:
        assert [b.title.rsplit(", ", 1)[1] for b in blocks] == [
            f"{k + 1} of {len(blocks)}" for k in range(len(blocks))
        ]
    assert all(b.seal == blocks[0].seal for b in blocks)


def test_pairs_of_a_page_touch_its_rows_and_are_the_nearest() -> None:
    rows = chart_rows(("G", "R", "NPT"))
    all_pairs = chart_pairs(rows)
    [page] = paginate(rows, 100, pairs_per_page=3)
    assert page.pairs == all_pairs[:3]
    assert [p.nearness for p in all_pairs] == sorted(p.nearness for p in all_pairs)
    assert not any("internal" in r.size.genders and len(r.size.genders) == 1 for r in page.rows)


def test_the_page_for_a_browser_has_every_row_and_pair() -> None:
    pages = paginate(chart_rows(("G", "NPT")), 100)
    html = render(pages)
    for row in pages[0].rows:
        assert f"<strong>{row.size.designation}</strong>" in html
        assert f'aria-label="profile of {row.size.designation} at true scale"' in html
    for pair in pages[0].pairs:
        assert pair.measurement in html and pair.values[0] in html
    assert html.count("<svg") == len(pages[0].rows) and "<script" not in html


def test_a_drawn_profile_says_its_figures() -> None:
    size = find("1/2-14 NPT")
    svg = enlarged(size)
    assert "1/2-14 NPT, external, axial section" in svg
    assert "1.814 mm (14 TPI)" in svg and f"{depth_of(size):.3f} mm" in svg
    assert "flanks 60 deg; crest flat, root flat; basic major " in svg
    assert "ASME B1.20.1; enlarged" in svg
    assert "crest round, root round" in enlarged(find("G 1/2"))
    assert "crest flat, root round" in enlarged(find("M14x1.5"))
    # Enlarged as it says: 640 px wide, 180 of them margins, two turns.
    stated = re.search(r"enlarged (\d+) times at 96 px per inch", svg)
    assert stated is not None
    assert int(stated[1]) == pytest.approx((640 - 180) / (2 * 25.4 / 14) / (96 / 25.4), abs=0.6)


@pytest.mark.parametrize("designation", ["M3x0.5", "R 1/2", "M64x6"])
def test_a_strip_of_profile_is_as_wide_as_it_says(designation: str) -> None:
    svg = true_scale(find(designation), 22.0)
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg)
    assert box is not None and 22.0 - find(designation).pitch_mm / 2 <= float(box[1]) <= 22.0
    points = [float(p.split(",")[1]) for p in re.search(r'points="([^"]+)"', svg)[1].split()]
    assert min(points) == pytest.approx(0.0, abs=1e-3) and max(points) == float(box[2])


# Drawings of the work sheet.


@pytest.mark.parametrize(
    ("length", "height", "room", "scale"),
    [
        (20, 10, (180, 90), 5.0),
        (40, 18, (180, 90), 2.0),
        (100, 30, (180, 90), 1.0),
        (36, 18, (180, 90), 5.0),
        (36.1, 18, (180, 90), 2.0),
        (36, 18.1, (180, 90), 2.0),
        (200, 30, (180, 90), 0.5),
        (5000, 30, (180, 90), 0.2),
    ],
)
def test_the_largest_scale_that_fits(
    length: float, height: float, room: tuple[float, float], scale: float
) -> None:
    assert best_scale(length, height, room) == scale


def test_scales_as_drawings_state_them() -> None:
    # ISO 5455.
    assert [scale_text(s) for s in SCALES] == ["5:1", "2:1", "1:1", "1:2", "1:5"]


def test_no_mark_up_comes_in_with_a_name() -> None:
    assert safe("<b>A & B</b>") == "&lt;b&gt;A &amp; B&lt;/b&gt;"


def test_text_moves_on_until_it_is_free() -> None:
    placed = Placed()
    first = placed.centred("M14x1.5", (50.0, 20.0), 9.0, 4.0)
    second = placed.centred("M14x1.5", (50.0, 20.0), 9.0, 4.0)
    third = placed.centred("M14x1.5", (50.0, 20.0), 9.0, -4.0)
    assert (first, second, third) == (20.0, 24.0, 16.0)
    beside = 50.0 + text_width_mm("M14x1.5", 9.0) + placed.apart_mm + 0.1
    assert placed.centred("M14x1.5", (beside, 20.0), 9.0, 4.0) == 20.0
    assert len(placed.boxes) == 4
    # Type of twice the size is twice as wide.
    assert text_width_mm("M14", 18.0) == pytest.approx(2 * text_width_mm("M14", 9.0))
