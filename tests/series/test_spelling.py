"""How people write threads, and what is asked back."""

import pytest

from pitchcam.errors import UsageError
from pitchcam.series import find
from pitchcam.series.names import bare_inches, canonical, dash_sizes


@pytest.mark.parametrize(
    ("typed", "written"),
    [
        # Words of the trade.
        ("bspp 1/4", "G 1/4"),
        ("BSPP1/2", "G 1/2"),
        ("1/4 BSP F", "G 1/4"),
        ("1/4 bsp parallel", "G 1/4"),
        ("PF1/2", "G 1/2"),
        ("BSPT1/2", "R 1/2"),
        ("1/2 bsp taper", "R 1/2"),
        ("bsp t 1/2", "R 1/2"),
        ("PT 3/8", "R 3/8"),
        ("PS1/2", "RP 1/2"),
        ("m10 conical", "M10 TAPER"),
        ("M10X1 KEG", "M10X1 TAPER"),
        ("M10x1 con.", "M10X1 TAPER"),
        ("M10 tapered", "M10 TAPER"),
        ("no 10-32", "#10-32"),
        ("no. 10-32", "#10-32"),
        ("1/4 BS brass", "1/4 BS BRASS"),
        ("5/8 bs conduit", "5/8 BS CONDUIT"),
        ("3/8 whit.", "3/8 BSW"),
        ("3/8 whitworth", "3/8 BSW"),
        ("1/4 BSCY", "1/4 BSC"),
        ("1/2 BS cycle", "1/2 BSC"),
        ("9/16 cei", "9/16 BSC"),
        # A class of fit is no part of the size.
        ("M14x1.5-6g", "M14X1.5"),
        ("M14x1.5 6g7g", "M14X1.5"),
        ("M14x1.5 6H", "M14X1.5"),
        ("1/2-13 UNC 3B", "1/2-13 UNC"),
        ("1/2-13 UNC-2A", "1/2-13 UNC"),
        ("G1/2 B", "G 1/2"),
        ("G 1/2A", "G 1/2"),
        # Crosses, commas and figures.
        ("m8*1", "M8X1"),
        ("M8\u00d71", "M8X1"),
        ("M8x1,25", "M8X1.25"),
        ("M8x.75", "M8X0.75"),
        ("M8x1.0", "M8X1"),
        ("M8x1.", "M8X1"),
        ("M 8", "M8"),
        ("MF8x1", "M8X1"),
        ("MF 8x1", "M8X1"),
        ("M8/1", "M8X1"),
        ("M8-1", "M8X1"),
        ("M8 1", "M8X1"),
        # Fractions and inch marks.
        ("1 1/2 NPT", "1-1/2 NPT"),
        ("1\u00bd NPT", "1-1/2 NPT"),
        ("\u00bc NPT", "1/4 NPT"),
        ("G1\u00bd", "G 1-1/2"),
        ("1/4in NPT", "1/4 NPT"),
        ("1/4 inch NPT", "1/4 NPT"),
        ('1/4" NPT', "1/4 NPT"),
        ("1/4'' NPT", "1/4 NPT"),
        ("1/4\u201d NPT", "1/4 NPT"),
        ("1/4\u2033 NPT", "1/4 NPT"),
        # The family before or behind, with a blank or none.
        ("1/2 - 14 NPT", "1/2-14 NPT"),
        ("1/2NPSM", "1/2 NPSM"),
        ("npsm 1/2", "1/2 NPSM"),
        ("UNC1/2-13", "1/2-13 UNC"),
        ("1/2UNC", "1/2 UNC"),
        ("UNEF 1/2", "1/2 UNEF"),
        ("UNS 1/2-18", "1/2-18 UNS"),
        ("BSF 1/4", "1/4 BSF"),
        ("BS Brass 1/4", "1/4 BS BRASS"),
        ("BS conduit 5/8", "5/8 BS CONDUIT"),
        ("rc1/2", "RC 1/2"),
        ("1/2 rc", "RC 1/2"),
        ("1/2 g", "G 1/2"),
        ("PG16", "PG 16"),
        ("pg13.50", "PG 13.5"),
        ("ba 2", "2 BA"),
        ("1/4-20TPI", "1/4-20"),
    ],
)
def test_a_typed_name_is_written_as_the_catalogue_writes_it(typed: str, written: str) -> None:
    assert canonical(typed) == written


@pytest.mark.parametrize(
    ("typed", "designation"),
    [
        ("BSPP1/2", "G 1/2"),
        ("BSPT1/2", "R 1/2"),
        ("M8x.75", "M8x0.75"),
        ("1/4\u2033 NPT", "1/4-18 NPT"),
        ("no 10-32", "#10-32 UNF"),
        ("10-32 UNF", "#10-32 UNF"),
        ("8-32", "#8-32 UNC"),
        ("1/2-13", "1/2-13 UNC"),
        ("1/2-12", "1/2-12 BSW"),
        ("9/16-20", "9/16-20 UN"),
        ("M12 taper", "M12x1.5 taper"),
        ("M18 keg", "M18x1.5 taper"),
        ("M7", "M7x1"),
        ("M1.6", "M1.6x0.35"),
        ("pg 21", "Pg 21"),
        ("0BA", "0 BA"),
        ("3/4 NPSM", "3/4-14 NPSM"),
        ("3/8 BSF", "3/8-20 BSF"),
        ("1-7/16 BSC", "1-7/16-24 BSC"),
        ("1/2 NPTF", "1/2-14 NPTF"),
    ],
)
def test_a_short_name_finds_the_one_size_that_it_means(typed: str, designation: str) -> None:
    assert find(typed).designation == designation


def raised(typed: str) -> UsageError:
    with pytest.raises(UsageError) as caught:
        find(typed)
    return caught.value


@pytest.mark.parametrize("typed", ["1/2 BSP", "bsp 1/2", "gas 1/2", "1/2 GAS", "\u00bd bsp"])
def test_bsp_alone_is_parallel_or_taper(typed: str) -> None:
    error = raised(typed)
    assert error.message == f"'{typed}' may be parallel or taper."
    assert error.advice == (
        "Parallel G 1/2 (seals by a washer or cone) or taper R 1/2 (seals on the thread)? "
        "Write which one."
    )


@pytest.mark.parametrize(
    ("typed", "may_be"),
    [
        ("1/4-20", "1/4-20 UNC, 1/4-20 BSW"),
        ("3/8-16", "3/8-16 UNC, 3/8-16 BSW"),
        ("1/2 cycle", "1/2-26 BSC, 1/2-20 BSC"),
    ],
)
def test_two_sizes_of_one_name_are_both_said(typed: str, may_be: str) -> None:
    error = raised(typed)
    assert (error.message, error.advice) == (f"'{typed}' may be {may_be}.", "Write which one.")


def test_a_bare_trade_size_lists_its_threads_with_their_diameters() -> None:
    error = raised("1/2")
    assert error.message.startswith("'1/2' is a size without its thread: it may be ")
    assert "G 1/2 (21.0 mm)" in error.message and "1/2-20 UNF (12.7 mm)" in error.message
    assert error.message.endswith(" more.")
    assert error.advice == (
        "Write which one; pipe sizes are named after the bore and are larger over the crests."
    )
    # What a fitter meets every week stands before what he hardly ever meets.
    assert error.message.index("1/2-14 NPT ") < error.message.index(" more.")
    assert "1/2-28 UNEF" not in error.message


@pytest.mark.parametrize(
    ("typed", "near"),
    [("M14x1.3", "M14x1.5"), ("1/4-19 NPT", "1/4-18 NPT"), ("G 7", "G 7/8"), ("5/8-17 UNF", "5/8")],
)
def test_near_names_are_proposed(typed: str, near: str) -> None:
    error = raised(typed)
    assert error.message == f"'{typed}' is no thread of the catalogue."
    assert error.advice.startswith("Near it: ") and near in error.advice
    assert error.advice.count(",") <= 3


def test_what_is_near_nothing_is_sent_to_the_list() -> None:
    assert raised("zzz").advice == "List them with: pitchcam series"


@pytest.mark.parametrize(
    ("typed", "designation"),
    # Kinds of fitting with their dash sizes: common practice, no source.
    [
        ("-6 JIC", "9/16-18 UNF"),
        ("6 JIC", "9/16-18 UNF"),
        ("JIC6", "9/16-18 UNF"),
        ("JIC-6", "9/16-18 UNF"),
        ("JIC #6", "9/16-18 UNF"),
        ("#6 AN", "9/16-18 UNF"),
        ("AN 8", "3/4-16 UNF"),
        ("an-10", "7/8-14 UNF"),
        ("10AN", "7/8-14 UNF"),
        ("37 -6", "9/16-18 UNF"),
        ("37 DEG FLARE -6", "9/16-18 UNF"),
        ("37 degrees -6", "9/16-18 UNF"),
        ("45 -6", "5/8-18 UNF"),
        ("45 deg -10", "7/8-14 UNF"),
        ("ORB 8", "3/4-16 UNF"),
        ("ORB -6", "9/16-18 UNF"),
        ("ORFS-8", "13/16-16 UN"),
        ("12 ORFS", "1-3/16-12 UN"),
        ("-3 flare", "3/8-24 UNF"),
        ("-5", "1/2-20 UNF"),
        ("-2", "5/16-24 UNF"),
    ],
)
def test_dash_sizes(typed: str, designation: str) -> None:
    assert find(typed).designation == designation


def test_a_dash_size_of_several_fittings_says_what_each_has() -> None:
    error = raised("-6")
    assert error.message == (
        "'-6' may be 37 degree flare: 9/16-18 UNF; 45 degree flare: 5/8-18 UNF; "
        "flat-face O-ring: 11/16-16 UN."
    )
    assert error.advice == "Write which one."
    # SAE, flare and dash alone leave the kind open.
    for word in ("SAE -6", "FLARE -6", "DASH 6"):
        assert "may be 37 degree flare" in raised(word).message


@pytest.mark.parametrize("typed", ["ORFS 5", "-99", "JIC 99", "-7", "45 -16"])
def test_a_dash_size_that_is_none_says_how_they_count(typed: str) -> None:
    error = raised(typed)
    assert error.message == f"'{typed}' is no dash size of these fittings."
    assert error.advice.startswith("Dash sizes count sixteenths of an inch of tube: 4, 6, 8")


def test_a_screw_number_is_no_dash_size() -> None:
    assert canonical("#6") == "#6" and find("#6-32").designation == "#6-32 UNC"


def test_kinds_of_fittings_have_their_own_dash_sizes() -> None:
    kinds = dash_sizes()
    assert set(kinds) == {"37 degree flare", "45 degree flare", "flat-face O-ring"}
    # Flares of both angles share a thread up to -5 and from -8 to -10 (common practice).
    for dash in (2, 3, 4, 5, 8, 10):
        assert kinds["37 degree flare"][dash] == kinds["45 degree flare"][dash]
    assert kinds["37 degree flare"][6] != kinds["45 degree flare"][6]
    assert 5 not in kinds["flat-face O-ring"]


@pytest.mark.parametrize(
    ("typed", "size"),
    [
        ('1/2"', "1/2"),
        ("1 1/2", "1-1/2"),
        ("1-1/2 in", "1-1/2"),
        ("\u00bd", "1/2"),
        ("2", "2"),
        ("1/2 NPT", None),
        ("M8", None),
        ("", None),
    ],
)
def test_a_bare_trade_size_is_nothing_but_inches(typed: str, size: str | None) -> None:
    assert bare_inches(typed) == size
