"""Touching objects are parted at the contact, single ones left whole."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pitchcam.objects.split import split_touching


def canvas() -> np.ndarray:
    return np.zeros((300, 420), np.uint8)


def test_two_discs_that_touch_are_parted() -> None:
    mask = canvas()
    cv2.circle(mask, (120, 150), 80, 1, cv2.FILLED)
    cv2.circle(mask, (260, 150), 62, 1, cv2.FILLED)
    labels = split_touching(mask)
    assert labels is not None
    assert labels.max() == 2
    assert np.array_equal(labels > 0, mask > 0)
    left, right = labels[150, 120], labels[150, 260]
    assert left != right
    # Each piece is its own disc, but for the lens that both share.
    assert (labels == left).sum() == pytest.approx(np.pi * 80**2, rel=0.02)
    assert (labels == right).sum() == pytest.approx(np.pi * 62**2, rel=0.03)


def test_a_hole_is_no_place_of_a_piece() -> None:
    mask = canvas()
    for x, r in ((120, 80), (260, 62)):
        cv2.circle(mask, (x, 150), r, 1, cv2.FILLED)
    for x, r in ((120, 50), (260, 30)):
        cv2.circle(mask, (x, 150), r, 0, cv2.FILLED)
    labels = split_touching(mask)
    assert labels is not None
    assert np.array_equal(labels > 0, mask > 0)


def test_three_in_a_row() -> None:
    mask = canvas()
    for x in (70, 190, 310):
        cv2.rectangle(mask, (x, 100), (x + 90, 200), 1, cv2.FILLED)
    cv2.rectangle(mask, (70, 146), (400, 154), 1, cv2.FILLED)
    labels = split_touching(mask)
    assert labels is not None
    assert len({int(labels[110, x]) for x in (115, 235, 355)}) == 3


@pytest.mark.parametrize("neck", [60, 80, 100])
def test_a_fitting_with_an_undercut_stays_whole(neck: int) -> None:
    mask = canvas()
    cv2.rectangle(mask, (40, 90), (180, 210), 1, cv2.FILLED)
    cv2.rectangle(mask, (180, 150 - neck // 2), (230, 150 + neck // 2), 1, cv2.FILLED)
    cv2.rectangle(mask, (230, 100), (380, 200), 1, cv2.FILLED)
    assert split_touching(mask) is None


def test_a_bright_hole_does_not_part_an_object() -> None:
    mask = canvas()
    cv2.rectangle(mask, (40, 90), (380, 210), 1, cv2.FILLED)
    cv2.rectangle(mask, (200, 95), (215, 205), 0, cv2.FILLED)
    assert split_touching(mask) is None


def test_a_burr_is_no_piece() -> None:
    mask = canvas()
    cv2.circle(mask, (150, 150), 90, 1, cv2.FILLED)
    cv2.circle(mask, (248, 150), 12, 1, cv2.FILLED)
    assert split_touching(mask) is None
