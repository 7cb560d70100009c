"""Stock sheets in and out: faults by line and column, units, and nothing lost."""

import sqlite3
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from pitchcam.cli.stock import command
from pitchcam.errors import InputError, PitchcamError, UsageError
from pitchcam.joining.stock import amounts
from pitchcam.joining.stock.sheet import StockError, columns, parse_stock, read_stock
from pitchcam.joining.stock.store import StockStore, stock_csv
from pitchcam.store.store import Store

HEAD = "id,name,end_a,gender_a,end_b,gender_b,bore,length,hex,thread_a,material,pressure,count"
GOOD = "A1,nipple,M18x1.5,male,hose 10,male,8,50,22,12,brass,16 bar,3"
NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


def sheet(*rows, head=HEAD):
    return "\n".join([head, *rows]) + "\n"


def test_rows_with_units_seats_and_closed_ends():
    rows = parse_stock(
        sheet(
            GOOD,
            'A2,,7/16-20 UNF cone37,M,none,,0,"1 1/4in",0.75in,,steel,230 psi,0',
            "",
            ",,,,,,,,,,,,",
        ),
        "s.csv",
    )
    assert [r.id for r in rows] == ["A1", "A2"]
    assert rows[1].length_mm == pytest.approx(31.75) and rows[1].hex_mm == pytest.approx(19.05)
    assert rows[1].end_a.family == "UN-cone37" and rows[1].end_b is None
    assert rows[1].pressure_bar == pytest.approx(15.858, abs=1e-3)
    assert rows[0].thread_a_mm == 12.0 and rows[0].temperature_c is None


@pytest.mark.parametrize("separator", [";", "\t"])
def test_other_separators_decimal_commas_and_byte_order_mark(tmp_path, separator):
    text = sheet(GOOD.replace("8,50,22", "8.5,50,22")).replace(",", separator).replace("8.5", "8,5")
    path = tmp_path / "s.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert read_stock(path)[0].bore_mm == 8.5


def test_older_encoding_is_read(tmp_path):
    path = tmp_path / "s.csv"
    path.write_bytes(sheet(GOOD.replace("nipple", "N\xfcppel")).encode("cp1252"))
    assert read_stock(path)[0].name == "N\xfcppel"


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        (GOOD.replace("M18x1.5", "M18x1.7"), "column end_a: 'M18x1.7' is no thread"),
        (GOOD.replace("male,hose", "malle,hose"), "column gender_a: 'malle' is neither"),
        (GOOD.replace("hose 10", ""), "column end_b: is empty"),
        (GOOD.replace("8,50", "eight,50"), "column bore: 'eight' is not a length"),
        (GOOD.replace("8,50", "8,0.5"), "column length: 0.5 mm is too short"),
        (GOOD.replace("50,22", "50,0.75"), "column hex: 0.75 mm is too small"),
        (GOOD.replace("8,50", "25,50"), "column bore: 25 mm is wider than the hex"),
        (GOOD.replace("8,50", "12,50"), "column bore: 12 mm does not fit inside hose tail 10 mm"),
        (GOOD.replace("22,12", "22,60"), "column length: is less than its two threads"),
        (GOOD.replace("brass", ""), "column material: is empty"),
        (GOOD.replace("16 bar", "16 furlongs"), "column pressure: '16 furlongs' is not"),
        (GOOD.replace("bar,3", "bar,-3"), "column count: '-3' is not a count"),
        (GOOD.replace("bar,3", "bar,"), "column count: is empty"),
        (GOOD.replace("A1", ""), "column id: is empty"),
        (GOOD + ",extra", "column (end): more cells"),
        (GOOD.replace("M18x1.5,male,hose 10,male", "none,,none,"), "column end_a: both ends"),
        (GOOD.replace("M18x1.5,male", "Rc 1/4,male"), "column end_a: Rc 1/4 is a female"),
    ],
)
def test_faults_name_line_and_column(row, fault):
    with pytest.raises(StockError) as caught:
        parse_stock(sheet(GOOD.replace("A1", "A0"), row), "s.csv")
    assert f"line 3, {fault}" in str(caught.value)
    assert "Nothing was taken" in str(caught.value)


def test_every_fault_is_listed_and_ids_stand_once():
    with pytest.raises(StockError) as caught:
        parse_stock(sheet(GOOD, GOOD, GOOD.replace("brass", "").replace(",3", ",x")), "s.csv")
    assert len(caught.value.lines) == 4
    assert "stands already in line 2" in caught.value.lines[0]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "no column id"),
        ("id,foo\n1,2\n", "no column"),
        (HEAD + "\n", "no rows"),
        (HEAD + ",colour\n", "unknown column colour"),
        (HEAD + ",count\n", "stands twice"),
        (sheet(GOOD.replace("nipple", '"nipple')), "line"),
    ],
)
def test_sheets_that_are_none(text, word):
    with pytest.raises(InputError) as caught:
        parse_stock(text, "s.csv")
    assert word in str(caught.value)


@given(st.text(max_size=200))
def test_any_text_is_a_sheet_or_a_plain_error(text):
    for body in (text, HEAD + "\n" + text, sheet(GOOD.replace("nipple", text))):
        try:
            rows = parse_stock(body, "s.csv")
        except PitchcamError as error:
            assert error.message and "Traceback" not in str(error)
        else:
            assert parse_stock(stock_csv(rows), "again.csv") == rows


def test_files_that_are_none(tmp_path):
    with pytest.raises(InputError, match="no file"):
        read_stock(tmp_path / "no.csv")
    with pytest.raises(InputError, match="is a folder"):
        read_stock(tmp_path)
    (tmp_path / "b.csv").write_bytes(b"PK\x03\x04\0\0\0")
    with pytest.raises(InputError, match="no CSV text"):
        read_stock(tmp_path / "b.csv")


@pytest.mark.parametrize(
    ("reader", "text", "value"),
    [
        ("pressure_bar", "1.6 MPa", 16.0),
        ("pressure_bar", "100 kPa", 1.0),
        ("pressure_bar", "14.5037738 psi", 1.0),
        ("temperature_c", "212 F", 100.0),
        ("temperature_c", "-40", -40.0),
        ("mass_g", "1,5 kg", 1500.0),
        ("mass_g", "1oz", 28.3495),
        ("length_mm", "0", 0.0),
        ("length_mm", "3/8in", 9.525),
        ("whole_number", "3.0", 3),
    ],
)
def test_amounts(reader, text, value):
    assert getattr(amounts, reader)(text) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("reader", "text"),
    [
        ("pressure_bar", "0"),
        ("pressure_bar", "x"),
        ("temperature_c", "-300"),
        ("temperature_c", "100 K"),
        ("mass_g", "0"),
        ("mass_g", "1 stone"),
        ("whole_number", "1.5"),
        ("whole_number", "99999999"),
        ("length_mm", "-1"),
        ("length_mm", "1e999"),
    ],
)
def test_amounts_that_are_none(reader, text):
    with pytest.raises(PitchcamError):
        getattr(amounts, reader)(text)


def test_written_sheet_reads_back_the_same():
    rows = parse_stock(
        sheet(
            GOOD,
            'A2,"a, b",7/16-20 UNF cone37,M,none,,0,31.75,19.05,,steel,,0',
            "A3,,M10x1 taper,male,M14x1.5 oring,female,4,31,19,,steel,,1",
            "A4,,1/4-18 NPSM,female,G 1/4,male,4,31,19,,steel,,1",
        ),
        "s.csv",
    )
    assert parse_stock(stock_csv(rows), "again.csv") == rows
    assert stock_csv(rows).splitlines()[0].split(",") == [name for name, _ in columns()]


def test_store_keeps_every_move(tmp_path):
    path = tmp_path / "record.sqlite"
    rows = parse_stock(sheet(GOOD, GOOD.replace("A1", "A2")), "s.csv")
    with StockStore(path) as store:
        assert store.take_in(rows, who="Ida", now=NOW) == 2
        assert store.take_in(rows, who="Ida", now=NOW) == 0
        assert store.take_out("A1", 2, who="Bo", why="pump 7", now=NOW) == 1
        assert store.take_out("A1", -1, who="Bo", why="not needed", now=NOW) == 2
        with pytest.raises(UsageError, match="has 2 left"):
            store.take_out("A1", 3, who="Bo", why="", now=NOW)
        with pytest.raises(UsageError, match="no row"):
            store.take_out("A9", 1, who="Bo", why="", now=NOW)
        assert [r.count for r in store.rows()] == [2, 3]
    with StockStore(path) as store:
        assert store.take_in(rows[:1], who="Ida", now=NOW) == 1
        assert store.rows() == rows
        assert [m.pieces for m in store.moves("A1")] == [3, -2, 1, 1]
        assert len(store.moves()) == 5


def test_moves_and_rows_cannot_be_changed_or_removed(tmp_path):
    path = tmp_path / "record.sqlite"
    with StockStore(path) as store:
        store.take_in(parse_stock(sheet(GOOD), "s.csv"), who="Ida", now=NOW)
    db = sqlite3.connect(path)
    for statement in ("UPDATE stock_move SET pieces = 9", "DELETE FROM stock_row"):
        with pytest.raises(sqlite3.IntegrityError, match="never overwritten"):
            db.execute(statement)
    db.close()
    Store(path).close()  # the measurements' store opens the same file


def test_stock_lies_in_a_file_that_is_a_record(tmp_path):
    (tmp_path / "other.sqlite").write_text("not a database, but long enough to look at" * 40)
    with pytest.raises(InputError):
        StockStore(tmp_path / "other.sqlite")


def test_faulty_sheet_changes_nothing(tmp_path):
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    good.write_text(sheet(GOOD))
    bad.write_text(sheet(GOOD.replace(",3", ",9"), GOOD.replace("A1", "A2").replace("brass", "")))
    record = ["--record", str(tmp_path / "r.sqlite")]
    run = CliRunner()
    assert "1 new or changed" in run.invoke(command, ["import", str(good), *record]).output
    failed = run.invoke(command, ["import", str(bad), *record])
    assert isinstance(failed.exception, StockError)
    listed = run.invoke(command, ["list", *record]).output
    assert listed.startswith("   3  A1 nipple") and "1 rows, 3 pieces" in listed


def test_commands(tmp_path):
    path = tmp_path / "good.csv"
    path.write_text(sheet(GOOD, GOOD.replace("A1", "A2").replace("M18x1.5", "M14x1.5")))
    record = ["--record", str(tmp_path / "r.sqlite")]
    run = CliRunner()
    assert "no fault" in run.invoke(command, ["check", str(path)]).output
    assert "thread_a" in run.invoke(command, ["columns"]).output
    assert isinstance(run.invoke(command, ["list", *record]).exception, UsageError)
    run.invoke(command, ["import", str(path), *record])
    out = run.invoke(command, ["list", "--end", "M14x1.5", "--csv", *record]).output
    assert [r.id for r in parse_stock(out, "out.csv")] == ["A2"]
    out = run.invoke(command, ["take", "A2", "-n", "2", "--who", "Bo", "--why", "job", *record])
    assert out.output == "A2: 1 left\n"
    assert "-2  Bo, job" in run.invoke(command, ["moves", "A2", *record]).output
    assert (
        "0 rows"
        in run.invoke(command, ["list", "--end", "hose 10", "--gender", "female", *record]).output
    )
    assert "2 rows" in run.invoke(command, ["list", "--end", "hose 10", *record]).output
    assert '"id": "A1"' in run.invoke(command, ["list", "--json", "--stock", str(path)]).output
