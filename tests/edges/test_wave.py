"""Edges that are straight but for a lens's bow, dust and noise do not wave; moved ones do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.edges.wave import WAVE_PX, Traced, find_wave, is_shown

RANDOM = np.random.default_rng(5)
UP, LEVEL = "up", "level"


def edge(way: str, at: float, off=None, *, noise: float = 0.2, **more) -> Traced:
    """A bowed edge of a window of 1600 pixels, 150 places; ``off`` is added to it."""
    s = np.linspace(200, 1800, 150)
    y = at + 6 * ((s - 1000) / 800) ** 2 + 2 * ((s - 1000) / 800) ** 3
    y = y + RANDOM.normal(0, noise, len(s)) + (0 if off is None else off(s))
    xy = np.stack([s, y], axis=1)
    return Traced(places_px=xy if way == LEVEL else xy[:, ::-1], **more)


def sine(height: float, length: float = 300.0, phase: float = 0.0):
    return lambda s: height * np.sin(2 * np.pi * s / length + phase)


def window(*, up=None, level=None) -> list[Traced]:
    return [edge(UP, 100, up), edge(UP, 1900, up), edge(LEVEL, 90, level), edge(LEVEL, 1500, level)]


def test_bowed_noisy_edges_do_not_wave() -> None:
    for _ in range(20):
        assert find_wave(window()) is None
    assert find_wave([]) is None


@pytest.mark.parametrize("height", [0.5, 1.0, 4.0])
def test_rows_moved_aside_are_told_by_upright_edges(height: float) -> None:
    found = find_wave(window(up=sine(height)))
    assert found is not None
    assert found.kind == "rows"
    # A sine's standard deviation; the bow takes a little of it.
    assert found.rms_px == pytest.approx(height / np.sqrt(2), rel=0.12)
    assert "in step along the rows by" in found.text


def test_columns_moved_are_told_by_level_edges() -> None:
    found = find_wave(window(level=sine(1.0, 450)))
    assert found is not None
    assert found.kind == "columns"


def test_what_is_not_shared_is_the_edges_own() -> None:
    """One side cut in waves; two cut each in its own; two that lean against each other."""
    assert find_wave([edge(UP, 100, sine(1.5)), *window()[1:]]) is None
    apart = [edge(UP, 100, sine(1.5, 310)), edge(UP, 1900, sine(1.5, 190, 1.0)), *window()[2:]]
    assert find_wave(apart) is None
    mirrored = [edge(UP, 100, sine(0.8)), edge(UP, 1900, sine(-0.8)), *window()[2:]]
    assert find_wave(mirrored) is None


def test_sides_cut_by_hand_are_alike_by_chance_only() -> None:
    """Each of both sides in a few waves of its own."""

    def cut(s):
        knots = RANDOM.normal(0, 1.0, 16)
        return np.interp(s, np.linspace(200, 1800, 16), knots)

    told = sum(find_wave([edge(UP, 100, cut), edge(UP, 1900, cut)]) is not None for _ in range(200))
    assert told <= 1
    alike = cut(np.linspace(200, 1800, 150))
    assert find_wave([edge(UP, 100, lambda s: alike), edge(UP, 1900, lambda s: alike)]) is not None


def test_an_object_may_wave_by_itself() -> None:
    """A wavy tube: both its edges swing together, and beside the window's straight sides."""
    tube = [edge(UP, x, sine(1.0), of=3) for x in (700, 900)]
    assert find_wave([*window(), *tube]) is None
    # The same beside another object that does so too is the picture's.
    found = find_wave([*window(), tube[0], edge(UP, 1300, sine(1.0), of=4)])
    assert found is not None
    assert found.kind == "rows"


def test_dust_on_an_edge_is_left_out() -> None:
    def dusty(s):
        return np.where((s > 600) & (s < 680), 5.0, 0.0)

    assert find_wave([edge(UP, 100, dusty), edge(UP, 1900, dusty), *window()[2:]]) is None


def test_pieces_that_move_each_their_own_way() -> None:
    def pieces(s):
        return np.repeat(RANDOM.normal(0, 1.0, 16), 10)[: len(s)]

    pin = {"of": 2, "straight": True, "noise": 0.08}
    moved = [edge(UP, at, pieces, **pin) for at in (700, 900)]
    found = find_wave([*window(), *moved])
    assert found is not None
    assert found.kind == "pieces"
    assert found.rms_px > WAVE_PX
    assert "piece by piece" in found.text
    # Beside it a card's edges are straight: it is the pin that is worn.
    card = [edge(LEVEL, at, of=3, straight=True) for at in (300, 700)]
    assert find_wave([*window(), *moved, *card]) is None
    # A window is cut by hand, and so may be anything else.
    cut = [edge(w, at, pieces) for w, at in ((UP, 9), (UP, 1900), (LEVEL, 9), (LEVEL, 1500))]
    assert find_wave([*cut, *(edge(UP, at, pieces, of=4) for at in (700, 900))]) is None


def test_noise_that_neighbours_do_not_share_is_no_wave() -> None:
    coarse = [edge(UP, at, noise=0.6, of=2, straight=True) for at in (700, 900)]
    assert find_wave(coarse) is None


def test_short_edges_tell_nothing() -> None:
    short = [Traced(places_px=e.places_px[:17]) for e in window(up=sine(4.0, 90))]
    assert find_wave(short) is None


def test_two_long_edges_show_a_wave_and_less_does_not() -> None:
    one, other = edge(UP, 100), edge(UP, 1900)
    assert is_shown([one, other])
    assert not is_shown([one]) and not is_shown([])
    short = replace(other, places_px=other.places_px[:25])
    assert not is_shown([one, short])
    # Both sides of one object that may be bent tell of themselves alone.
    bent = [edge(UP, at, of=3) for at in (100, 200)]
    assert not is_shown(bent)
    assert is_shown([replace(e, straight=True) for e in bent])
