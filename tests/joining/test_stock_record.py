"""The stock in the record: two at once, damage, media that cannot be written."""

from __future__ import annotations

import os
import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from pitchcam.errors import InputError
from pitchcam.joining.stock.sheet import parse_stock, read_stock
from pitchcam.joining.stock.store import StockStore
from tests.fuzz.targets import _stock_sheet

NOW = datetime(2030, 1, 2, 12, 0, tzinfo=UTC)


@pytest.fixture
def rows():
    return parse_stock(_stock_sheet().decode(), "sheet.csv")


def counts(path):
    with StockStore(path, only_read=True) as store:
        return {r.id: r.count for r in store.rows()}


def test_two_imports_at_once_count_once(tmp_path, rows):
    """Each reads what is there and books the difference: not outside its transaction."""
    path = tmp_path / "r.sqlite"
    StockStore(path)._file.close()
    gate, faults = threading.Barrier(6), []

    def take_in():
        try:
            with StockStore(path) as store:
                gate.wait()
                store.take_in(rows, who="bench", now=NOW)
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=take_in) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    assert counts(path) == {r.id: r.count for r in rows}
    with StockStore(path) as store:
        assert len(store.moves()) == sum(r.count > 0 for r in rows)


def test_a_damaged_row_of_stock_is_left_out_and_said(tmp_path, rows):
    path = tmp_path / "r.sqlite"
    with StockStore(path) as store:
        store.take_in(rows, who="bench", now=NOW)
    with closing(sqlite3.connect(path)) as db:
        db.execute("DROP TRIGGER stock_move_keeps_UPDATE")
        db.execute("UPDATE stock_move SET pieces = 900 WHERE id = ?", (rows[0].id,))
        db.commit()
    with StockStore(path) as store:
        assert [r.id for r in store.rows()] == [r.id for r in rows[1:]]
        with pytest.raises(InputError, match=rows[0].id):
            store.refuse_damage()
        with pytest.raises(InputError, match="damaged rows of stock"):
            store.take_in([replace(rows[1], count=7)], who="bench", now=NOW)
        store.take_out(rows[1].id, 1, who="bench", why="", now=NOW)


def test_stock_from_before_checksums_is_taken_over(tmp_path, rows):
    path = tmp_path / "r.sqlite"
    with StockStore(path) as store:
        store.take_in(rows, who="bench", now=NOW)
    with closing(sqlite3.connect(path)) as db:
        for table in ("stock_row", "stock_move"):
            db.execute(f"ALTER TABLE {table} DROP COLUMN digest")
        db.commit()
    assert counts(path) == {r.id: r.count for r in rows}
    with StockStore(path) as store:
        store.take_out(rows[0].id, 1, who="bench", why="", now=NOW)
    assert counts(path)[rows[0].id] == rows[0].count - 1


def test_stock_is_read_where_nothing_can_be_written(tmp_path, rows, monkeypatch):
    path = tmp_path / "r.sqlite"
    with StockStore(path) as store:
        store.take_in(rows, who="bench", now=NOW)
    real = os.access
    monkeypatch.setattr(os, "access", lambda p, m: m != os.W_OK and real(p, m))
    assert counts(path) == {r.id: r.count for r in rows}


def test_sheets_are_bounded(tmp_path):
    head, first, *_ = _stock_sheet().decode().splitlines()
    with pytest.raises(InputError, match="not a regular file"):
        read_stock("/dev/zero" and tmp_path.__class__("/dev/zero"))
    big = tmp_path / "big.csv"
    with big.open("wb") as handle:
        handle.truncate(30_000_000)
    with pytest.raises(InputError, match="more than the limit"):
        read_stock(big)
    long = first.replace("row0", "row" + "x" * 3000)
    with pytest.raises(InputError, match="2000 characters"):
        parse_stock(f"{head}\n{long}\n", "sheet.csv")
    bad = "\n".join([head] + [f"{k}," for k in range(5000)])
    with pytest.raises(InputError) as caught:
        parse_stock(bad, "sheet.csv")
    assert len(caught.value.lines) < 20_000
