"""Cells of a stock sheet, one by one, and the sentence for each that is wrong."""

import re

import pytest

from pitchcam.errors import InputError, UsageError
from pitchcam.joining.stock import amounts
from pitchcam.joining.stock.sheet import StockError, columns, parse_stock

HEAD = "id,end_a,gender_a,end_b,gender_b,bore,length,hex,material,plating,count"
GOOD = "A1,M18x1.5,male,G 1/4,female,6,34,24,brass,none,3"


@pytest.mark.parametrize(
    ("typed", "bar"),
    # 1 MPa = 10 bar; psi by the pound-force and the inch (ISO 80000-4).
    [
        ("16", 16),
        ("16 bar", 16),
        ("1,6 MPa", 16),
        ("1600kPa", 16),
        ("232 psi", 15.996),
        ("2BAR", 2),
    ],
)
def test_pressures(typed: str, bar: float) -> None:
    assert amounts.pressure_bar(typed) == pytest.approx(bar, abs=1e-3)


@pytest.mark.parametrize(
    ("typed", "celsius"),
    [("120", 120), ("120 C", 120), ("250 F", 121.111), ("-40F", -40), ("-40c", -40), ("32 f", 0)],
)
def test_temperatures(typed: str, celsius: float) -> None:
    assert amounts.temperature_c(typed) == pytest.approx(celsius, abs=1e-3)


@pytest.mark.parametrize(
    ("typed", "grams"), [("45", 45), ("45 g", 45), ("0,045 kg", 45), ("2 oz", 56.699)]
)
def test_masses(typed: str, grams: float) -> None:
    assert amounts.mass_g(typed) == pytest.approx(grams, abs=1e-3)


@pytest.mark.parametrize(
    ("typed", "mm"),
    [("34", 34), ("1 in", 25.4), ("3/4in", 19.05), ("0", 0), ("0 mm", 0), ("0,0", 0)],
)
def test_lengths(typed: str, mm: float) -> None:
    assert amounts.length_mm(typed) == pytest.approx(mm)


@pytest.mark.parametrize(("typed", "count"), [("0", 0), ("3", 3), ("3.0", 3), ("12,00", 12)])
def test_counts(typed: str, count: int) -> None:
    assert amounts.whole_number(typed) == count


@pytest.mark.parametrize(
    ("read", "typed", "says"),
    [
        (
            amounts.pressure_bar,
            "16 atm",
            "'16 atm' is not a pressure; write 16 bar, 1.6 MPa or 230 psi",
        ),
        (
            amounts.pressure_bar,
            "high",
            "'high' is not a pressure; write 16 bar, 1.6 MPa or 230 psi",
        ),
        (
            amounts.pressure_bar,
            "0",
            "'0' is not a pressure above zero; leave it empty if not known",
        ),
        (
            amounts.pressure_bar,
            "-1 bar",
            "'-1 bar' is not a pressure above zero; leave it empty if not known",
        ),
        (amounts.temperature_c, "hot", "'hot' is not a temperature; write 120, 120 C or 250 F"),
        (amounts.temperature_c, "300 K", "'300 K' is not a temperature; write 120, 120 C or 250 F"),
        (amounts.temperature_c, "-274", "'-274' is below absolute zero; check the figure"),
        (amounts.temperature_c, "-460 F", "'-460 F' is below absolute zero; check the figure"),
        (amounts.mass_g, "2 lb", "'2 lb' is not a mass; write 45, 45 g or 0.045 kg"),
        (amounts.mass_g, "0 g", "'0 g' is not a mass above zero; leave it empty if not known"),
        (amounts.whole_number, "-1", "'-1' is not a count; write a whole number, 0 or more"),
        (amounts.whole_number, "2.5", "'2.5' is not a count; write a whole number, 0 or more"),
        (
            amounts.whole_number,
            "12345678",
            "'12345678' is not a count; write a whole number, 0 or more",
        ),
        (amounts.whole_number, "many", "'many' is not a count; write a whole number, 0 or more"),
    ],
)
def test_an_amount_that_is_none(read, typed: str, says: str) -> None:
    with pytest.raises(UsageError) as caught:
        read(typed)
    assert str(caught.value) == says


def test_a_good_row() -> None:
    [row] = parse_stock(f"{HEAD}\n{GOOD}\n", "stock.csv")
    assert (row.id, row.count, row.bore_mm, row.length_mm, row.hex_mm) == ("A1", 3, 6, 34, 24)
    assert row.text == "A1: M18x1.5 male / G 1/4 female"
    assert row.pressure_bar is None and row.mass_g is None and row.note == ""


def faults(*lines: str, head: str = HEAD) -> tuple[str, ...]:
    with pytest.raises(StockError) as caught:
        parse_stock("\n".join((head, *lines)), "stock.csv")
    assert caught.value.advice == "Nothing was taken from the file."
    assert caught.value.message.startswith(f"stock.csv {caught.value.lines[0]}")
    return caught.value.lines


def changed(**cells: str) -> str:
    row = dict(zip(HEAD.split(","), GOOD.split(","), strict=True))
    return ",".join((row | cells).values())


@pytest.mark.parametrize(
    ("cells", "says"),
    [
        ({"id": ""}, "column id: is empty."),
        ({"material": " "}, "column material: is empty."),
        ({"bore": ""}, "column bore: is empty."),
        ({"length": ""}, "column length: is empty."),
        ({"count": ""}, "column count: is empty."),
        ({"count": "few"}, "column count: 'few' is not a count; write a whole number, 0 or more"),
        ({"gender_a": "both"}, "column gender_a: 'both' is neither male nor female."),
        ({"gender_b": ""}, "column gender_b: '' is neither male nor female."),
        ({"end_a": ""}, "column end_a: is empty; write none for a closed end."),
        ({"end_a": "M18x1.49"}, "column end_a: 'M18x1.49' is no thread of the catalogue."),
        ({"end_b": "R 1/4"}, "column end_b: R 1/4 is a male thread only."),
        ({"end_a": "none", "end_b": "none"}, "column end_a: both ends are none."),
        ({"length": "2"}, "column length: 2 mm is too short for a fitting; in inches write 1.5in."),
        ({"hex": "1"}, "column hex: 1 mm is too small for a fitting; in inches write 3/4in."),
        ({"bore": "24"}, "column bore: 24 mm is wider than the hex."),
        ({"bore": "16.4"}, "column bore: 16.4 mm does not fit inside M18x1.5 male."),
        ({"hex": "wide"}, "column hex: "),
    ],
)
def test_a_faulty_cell_is_told_by_line_and_column(cells: dict[str, str], says: str) -> None:
    [line, *_] = faults(changed(**cells))
    assert line.startswith(f"line 2, {says}")


def test_every_fault_is_told_and_the_first_with_how_many_more() -> None:
    held = faults(changed(id="A", count="x"), changed(id="B", bore="", length=""))
    assert [x.split(",")[0] for x in held] == ["line 2", "line 3", "line 3"]
    with pytest.raises(StockError, match=re.escape("(and 2 more)")):
        parse_stock(
            "\n".join((HEAD, changed(count="x"), changed(id="B", bore="", length=""))), "s.csv"
        )


def test_threads_longer_than_the_piece_contradict_it() -> None:
    head = HEAD + ",thread_a,thread_b"
    both = changed(end_b="M14x1.5", gender_b="male") + ",20,15"
    assert faults(both, head=head) == (
        "line 2, column length: is less than its two threads together.",
    )
    # A female's depth lies inside the body.
    [row] = parse_stock(f"{head}\n{GOOD},20,15\n", "s.csv")
    assert (row.thread_a_mm, row.thread_b_mm) == (20, 15)


def test_a_name_stands_once_whatever_its_letters() -> None:
    assert faults(GOOD, GOOD.replace("A1", "a1")) == (
        "line 3, column id: 'a1' stands already in line 2.",
    )


def test_more_cells_than_columns_are_told() -> None:
    [line] = faults(GOOD + ",12,13")
    assert (
        line
        == "line 2, column (end): more cells than columns; quote a cell that holds the separator."
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("id,bore\nA,1\n", "stock.csv line 1: no column end_a, "),
        (HEAD + ",colour\n", "stock.csv line 1: unknown column colour."),
        (HEAD + ",bore\n", "stock.csv line 1: column bore stands twice."),
        (HEAD + "\n", "stock.csv has no rows of stock."),
        (HEAD + "\n,,,,,,,,,,\n", "stock.csv has no rows of stock."),
        (HEAD + '\n"A1,M18\n', "stock.csv line 2: unexpected end of data."),
    ],
)
def test_a_sheet_that_is_none(text: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_stock(text, "stock.csv")
    assert says in str(caught.value)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_sheet_as_spreadsheets_save_it(separator: str) -> None:
    text = f"{HEAD}\n{GOOD}\n".replace(",", separator).upper().replace("MALE", "male")
    [row] = parse_stock(text.replace("FEmale", "female"), "stock.csv")
    assert row.id == "A1" and row.end_a is not None


def test_columns_that_must_be_there() -> None:
    needed = {name for name, must in columns() if must}
    assert needed <= set(HEAD.split(",")) and {"id", "bore", "length", "count"} <= needed
    assert len({name for name, _ in columns()}) == len(columns())
