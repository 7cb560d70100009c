"""Frozen dataclasses that are quick to define.

The standard library writes seven methods of each as text and compiles them, half a millisecond
every time a process starts: of the 130 records between a photo and its names that makes an eighth
of the whole command. Here ``__init__`` alone is compiled, when the first record of its class is
made, and the others are closures. Fields, slots, ``replace`` and ``asdict`` are the standard
library's, and so is what these classes do.
"""

from __future__ import annotations

import dataclasses
import reprlib
from collections.abc import Callable, Sequence
from operator import attrgetter
from types import MemberDescriptorType, MethodType
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(cls=None, /, *, frozen=False, kw_only=False, slots=False, **others):
        """Make a class a dataclass; one that is not frozen, or asks for more, by the library."""
        if cls is None:
            return lambda c: dataclass(c, frozen=frozen, kw_only=kw_only, slots=slots, **others)
        if not frozen or others:
            return dataclasses.dataclass(cls, frozen=frozen, kw_only=kw_only, slots=slots, **others)
        return _frozen(cls, kw_only=kw_only, slots=slots)


__all__ = ["dataclass", "replace"]

Record = TypeVar("Record")
#: Fields of the classes whose records are no more than the values that they were given.
_PLAIN: dict[type, frozenset[str]] = {}


def replace(record: Record, /, **changes: Any) -> Record:
    """Return a record with other values in some fields, as the library's ``replace``.

    The values of a plain one are taken over as they lie in it, in a third of the time.

    Raises
    ------
    TypeError
        If it has no such field.
    """
    names = _PLAIN.get(record.__class__)
    if names is None or not changes.keys() <= names:
        return dataclasses.replace(record, **changes)  # type: ignore[type-var]
    out = object.__new__(record.__class__)
    own, to = record.__dict__, out.__dict__
    for name in names:
        to[name] = changes[name] if name in changes else own[name]
    return out


class _Unset:
    """Stands in a signature for what a factory makes, as in the library's."""

    def __repr__(self) -> str:
        return "<factory>"


_UNSET = _Unset()


def _frozen(cls: type, *, kw_only: bool, slots: bool) -> type:
    own = {name for name, value in vars(cls).items() if value is not None}
    if "__doc__" not in own:  # else the library looks for the signature, which takes longest
        cls.__doc__ = cls.__name__
    made: Any = dataclasses.dataclass(
        init=False, repr=False, eq=False, kw_only=kw_only, slots=slots
    )(cls)
    fields = dataclasses.fields(made)
    _refuse_order(made, fields)
    methods = {
        "__init__": _Init(made, fields),
        "__repr__": _repr([f.name for f in fields if f.repr]),
        "__eq__": _eq([f.name for f in fields if f.compare]),
        "__hash__": _hash([f.name for f in fields if (f.compare if f.hash is None else f.hash)]),
        "__setattr__": _refuse_set,
        "__delattr__": _refuse_delete,
    }
    if slots:
        methods |= {"__getstate__": _getstate, "__setstate__": _setstate}
    for name, method in methods.items():
        if name not in own:
            setattr(made, name, method)
    checked = "__init__" in own or hasattr(made, "__post_init__")
    if not (slots or checked) and all(f.init for f in fields):
        _PLAIN[made] = frozenset(f.name for f in fields)
    return made  # type: ignore[no-any-return]


def _refuse_order(made: Any, fields: Sequence[dataclasses.Field[Any]]) -> None:
    """Raise where a value that must be given comes after one that need not, as the library does."""
    free = None
    for f in fields:
        if f.kw_only:
            continue
        if f.default is not dataclasses.MISSING or f.default_factory is not dataclasses.MISSING:
            free = f.name
        elif free is not None:
            raise TypeError(
                f"{made.__qualname__}: {f.name!r} has no default and follows {free!r}, which has."
            )


class _Init:
    """Stands for the method ``__init__`` until it is asked for: of many classes it never is."""

    def __init__(self, made: Any, fields: Sequence[dataclasses.Field[Any]]) -> None:
        self._made, self._fields = made, fields

    def __get__(self, record: object, owner: type | None = None) -> Callable[..., None]:
        init = _init(self._made, self._fields)
        self._made.__init__ = init
        return init if record is None else MethodType(init, record)


def _init(made: Any, fields: Sequence[dataclasses.Field[Any]]) -> Callable[..., None]:
    """Return the method that takes the fields' values: by place, then by name."""
    names: dict[str, Any] = {"_set": object.__setattr__, "_unset": _UNSET}
    taken: list[str] = []
    lines: list[str] = []
    for f in sorted(fields, key=lambda f: bool(f.kw_only)):
        if f.kw_only and "*" not in taken:
            taken.append("*")
        value = f.name
        if f.default is not dataclasses.MISSING:
            names[f"_of_{f.name}"] = f.default
            taken.append(f"{f.name}=_of_{f.name}")
        elif f.default_factory is not dataclasses.MISSING:
            names[f"_of_{f.name}"] = f.default_factory
            taken.append(f"{f.name}=_unset")
            value = f"_of_{f.name}() if {f.name} is _unset else {f.name}"
        else:
            taken.append(f.name)
        place = getattr(made, f.name, None)
        if isinstance(place, MemberDescriptorType):
            # A slot is set in half the time without looking for its name.
            names[f"_to_{f.name}"] = place.__set__
            lines.append(f" _to_{f.name}(self, {value})")
        else:
            lines.append(f" _set(self, {f.name!r}, {value})")
    if hasattr(made, "__post_init__"):
        lines.append(" self.__post_init__()")
    exec(f"def __init__({', '.join(['self', *taken])}):\n" + "\n".join(lines or [" pass"]), names)
    init: Any = names["__init__"]
    init.__qualname__ = f"{made.__qualname__}.__init__"
    init.__module__ = made.__module__
    init.__annotations__ = {f.name: f.type for f in fields} | {"return": None}
    return init  # type: ignore[no-any-return]


def _values(names: Sequence[str]) -> Callable[[Any], tuple[Any, ...]]:
    """Return what gives the values of some fields."""
    if len(names) > 1:
        return attrgetter(*names)
    return lambda record: tuple(getattr(record, name) for name in names)


def _repr(names: Sequence[str]) -> Callable[[Any], str]:
    @reprlib.recursive_repr()
    def told(self: Any) -> str:
        shown = ", ".join(f"{name}={getattr(self, name)!r}" for name in names)
        return f"{type(self).__qualname__}({shown})"

    return told


def _eq(names: Sequence[str]) -> Callable[[Any, object], bool]:
    values = _values(names)

    def alike(self: Any, other: object) -> bool:
        if other.__class__ is not self.__class__:
            return NotImplemented  # type: ignore[no-any-return]
        return bool(values(self) == values(other))

    return alike


def _hash(names: Sequence[str]) -> Callable[[Any], int]:
    values = _values(names)

    def hashed(self: Any) -> int:
        return hash(values(self))

    return hashed


def _refuse_set(self: Any, name: str, value: object) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_delete(self: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _getstate(self: Any) -> list[Any]:
    return [getattr(self, f.name) for f in dataclasses.fields(self)]


def _setstate(self: Any, state: list[Any]) -> None:
    for f, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, f.name, value)
