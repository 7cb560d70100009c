"""Damage to bytes: what disks, cables and hostile hands do to a file."""

from __future__ import annotations

import random

#: Numbers at which counters, lengths and signs turn over.
_EDGES = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF)


def mutate(data: bytes, rng: random.Random, other: bytes = b"") -> bytes:
    """Return data with one to four kinds of damage; pieces of ``other`` may get into it."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 4)):
        rng.choice(_DAMAGES)(out, rng, other or data)
    return bytes(out)


def _flip(out: bytearray, rng: random.Random, other: bytes) -> None:
    for _ in range(rng.randint(1, 8)):
        if out:
            out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)


def _number(out: bytearray, rng: random.Random, other: bytes) -> None:
    width = rng.choice((1, 2, 4))
    value = (rng.choice(_EDGES) & ((1 << 8 * width) - 1)).to_bytes(
        width, rng.choice(("big", "little"))
    )
    at = rng.randrange(max(1, len(out) - width))
    out[at : at + width] = value


def _cut(out: bytearray, rng: random.Random, other: bytes) -> None:
    at = rng.randrange(len(out) + 1)
    del out[at : at + rng.choice((1, 2, 3, rng.randint(1, max(1, len(out)))))]


def _end(out: bytearray, rng: random.Random, other: bytes) -> None:
    del out[rng.randrange(len(out) + 1) :]


def _insert(out: bytearray, rng: random.Random, other: bytes) -> None:
    at = rng.randrange(len(out) + 1)
    out[at:at] = rng.randbytes(rng.randint(1, 16))


def _repeat(out: bytearray, rng: random.Random, other: bytes) -> None:
    at = rng.randrange(len(out) + 1)
    piece = out[at : at + rng.randint(1, 64)]
    out[at:at] = piece * rng.randint(1, 4)


def _swap(out: bytearray, rng: random.Random, other: bytes) -> None:
    at, take = rng.randrange(len(out) + 1), rng.randrange(len(other) + 1)
    piece = other[take : take + rng.randint(1, 64)]
    out[at : at + len(piece)] = piece


def _zero(out: bytearray, rng: random.Random, other: bytes) -> None:
    at = rng.randrange(len(out) + 1)
    length = min(rng.randint(1, 256), len(out) - at)
    out[at : at + length] = bytes(length)


_DAMAGES = (_flip, _number, _cut, _end, _insert, _repeat, _swap, _zero)
