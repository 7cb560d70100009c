"""A record's file is closed at the end of its use, and where it is refused."""

import sqlite3
from contextlib import closing

import pytest

from pitchcam.errors import InputError
from pitchcam.joining.stock.store import StockStore
from pitchcam.store.database import Database
from pitchcam.store.store import Store


@pytest.fixture
def closed(monkeypatch):
    gone = []

    def close(self, known=Database.close):
        gone.append(self.path.name)
        known(self)

    monkeypatch.setattr(Database, "close", close)
    return gone


@pytest.mark.parametrize(("keeper", "times"), [(Store, 1), (StockStore, 2)])
def test_the_end_of_its_use_closes_it(tmp_path, closed, keeper, times):
    with keeper(tmp_path / "r.sqlite") as store:
        assert store.path.name == "r.sqlite" and store.damaged == set()
    assert closed == ["r.sqlite"] * times  # the stock's keeper lets the record's look first


def test_a_file_that_is_refused_is_closed(tmp_path, closed):
    with closing(sqlite3.connect(tmp_path / "other.sqlite")) as db:
        db.execute("CREATE TABLE t (x)")
    for keeper in (Store, StockStore):
        with pytest.raises(InputError, match="a database of something else"):
            keeper(tmp_path / "other.sqlite")
    assert closed == ["other.sqlite"] * 2
