"""Frozen records, held against the standard library's."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
import subprocess
import sys
from dataclasses import FrozenInstanceError, asdict, field, fields, replace
from functools import cached_property
from typing import Any

import pytest

from pitchcam import frozen

MAKERS = {"library": dataclasses.dataclass, "ours": frozen.dataclass}


@frozen.dataclass(frozen=True, kw_only=True, slots=True)
class Slotted:
    """A record with slots, for pickles: these want a name in a module."""

    a: int
    b: tuple[int, ...] = ()


@frozen.dataclass(frozen=True, kw_only=True)
class Plain:
    """A record without."""

    a: int
    b: dict[str, int] = field(default_factory=dict)


def made(maker: Any, **how: bool) -> Any:
    class Record:
        """A record."""

        a: int
        b: str = "b"
        c: list[int] = field(default_factory=list, compare=False)
        d: float = field(default=1.5, repr=False)

        def twice(self) -> int:
            return 2 * self.a

    return maker(frozen=True, **how)(Record)


@pytest.mark.parametrize(
    "record", [Plain(a=1), Slotted(a=1), made(frozen.dataclass)(a=1)], ids=repr
)
def test_what_is_replaced_is_as_the_librarys(record: Any) -> None:
    other = frozen.replace(record, a=3)
    assert other == replace(record, a=3) and type(other) is type(record)
    assert other.b is record.b and record.a == 1
    assert [f.name for f in fields(record)] == list(asdict(other))
    with pytest.raises(TypeError):
        frozen.replace(record, z=1)


def test_nothing_but_fields_is_taken_over() -> None:
    """What was worked out of the old values is not the new record's; checks are made of these."""

    @frozen.dataclass(frozen=True)
    class Doubled:
        a: int

        @cached_property
        def twice(self) -> int:
            return 2 * self.a

    @frozen.dataclass(frozen=True)
    class Positive:
        a: int

        def __post_init__(self) -> None:
            if self.a < 0:
                raise ValueError

    one = Doubled(2)
    assert one.twice == 4
    assert frozen.replace(one, a=3).twice == 6
    with pytest.raises(ValueError):
        frozen.replace(Positive(1), a=-1)


HOW = [{}, {"kw_only": True}, {"slots": True}, {"kw_only": True, "slots": True}]


@pytest.mark.parametrize("how", HOW, ids=str)
def test_a_record_is_as_the_librarys(how: dict[str, bool]) -> None:
    library, ours = (made(maker, **how) for maker in MAKERS.values())
    one, other = library(a=1, c=[2]), ours(a=1, c=[2])
    assert repr(one) == repr(other)
    assert hash(one) == hash(other)
    assert asdict(one) == asdict(other)
    assert [f.name for f in fields(one)] == [f.name for f in fields(other)]
    assert str(inspect.signature(library)) == str(inspect.signature(ours))
    assert library.__match_args__ == ours.__match_args__
    assert other == ours(a=1, c=[3]) and other != ours(a=2, c=[2])
    assert other != one and other != 1
    assert replace(other, a=3).twice() == 6
    assert ours(a=1).c is not ours(a=1).c
    assert hasattr(other, "__dict__") != how.get("slots", False)
    assert copy.copy(other) == other == copy.deepcopy(other)


@pytest.mark.parametrize("how", HOW, ids=str)
def test_nothing_of_a_record_changes(how: dict[str, bool]) -> None:
    record = made(frozen.dataclass, **how)(a=1)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'a'"):
        record.a = 2
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'a'"):
        del record.a
    assert record.a == 1


def test_places_and_names_are_wanted_as_of_the_librarys() -> None:
    by_place, by_name = (made(frozen.dataclass, kw_only=k) for k in (False, True))
    assert by_place(1, "c").b == "c"
    for call in (lambda: by_name(1), lambda: by_name(), lambda: by_name(a=1, e=2)):
        with pytest.raises(TypeError):
            call()


@pytest.mark.parametrize("record", [Slotted(a=1, b=(2,)), Plain(a=1, b={"c": 3})], ids=repr)
def test_records_go_through_pipes(record: Any) -> None:
    assert pickle.loads(pickle.dumps(record)) == record


def test_what_a_class_says_itself_stands() -> None:
    @frozen.dataclass(frozen=True, kw_only=True)
    class Base:
        a: int

        def __post_init__(self) -> None:
            if self.a < 0:
                raise ValueError("negative")

        def __hash__(self) -> int:
            return 7

        @cached_property
        def more(self) -> int:
            return self.a + 1

    @frozen.dataclass(frozen=True, kw_only=True)
    class Longer(Base):
        b: int = 2

    assert hash(Base(a=1)) == 7 and Base(a=1).more == 2
    assert repr(Longer(a=1)).endswith("Longer(a=1, b=2)") and Longer(a=1, b=3) != Longer(a=1)
    with pytest.raises(ValueError):
        Longer(a=-1)


def test_a_method_is_compiled_once_and_for_what_is_made_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    compiled: list[str] = []
    library = frozen._init

    def noted(record: Any, fields_: Any) -> Any:
        compiled.append(record.__name__)
        return library(record, fields_)

    monkeypatch.setattr(frozen, "_init", noted)
    ours = made(frozen.dataclass, slots=True)
    assert compiled == []
    assert (ours(a=1), ours(a=2)) == (ours(a=1), ours(a=2))
    assert compiled == ["Record"]


def test_one_that_changes_is_the_librarys() -> None:
    @frozen.dataclass(slots=True)
    class Changing:
        a: int

    record = Changing(1)
    record.a = 2
    assert record == Changing(2)


def test_a_record_that_holds_itself_is_shown() -> None:
    loop: list[Any] = []
    record = made(frozen.dataclass)(a=1, c=loop)
    loop.append(record)
    assert "..." in repr(record)


def test_a_photo_s_records_are_made_here() -> None:
    """Else each costs half a millisecond at every start."""
    code = (
        "import dataclasses\n"
        "plain = []\n"
        "library = dataclasses._process_class\n"
        "def noted(cls, init, *rest):\n"
        "    plain.append(cls) if init else None\n"
        "    return library(cls, init, *rest)\n"
        "dataclasses._process_class = noted\n"
        "import numpy, pitchcam.pipeline.answer, pitchcam.cli.identify\n"
        "print([c.__name__ for c in plain if c.__module__.startswith('pitchcam')])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert len(done.stdout.split(",")) <= 5, done.stdout


@pytest.mark.parametrize("free", [1, field(default_factory=list)], ids=["value", "factory"])
@pytest.mark.parametrize("maker", MAKERS.values(), ids=MAKERS)
def test_a_field_without_a_default_after_one_with_fails_where_it_is_written(
    maker: Any, free: object
) -> None:
    """Not when the first record is made; by name the order is free."""
    body = {"__annotations__": {"a": "int", "b": "int"}, "a": free}
    with pytest.raises(TypeError, match="'?b'?.* follows"):
        maker(frozen=True)(type("Record", (), body))
    named = maker(frozen=True, kw_only=True)(type("Record", (), dict(body)))
    assert named(b=2).b == 2
