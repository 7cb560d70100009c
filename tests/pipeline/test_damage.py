"""Samples of which rows, columns or pieces are moved aside: refused, whatever they would name."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

import pitchcam
from pitchcam.errors import UnreadableError
from pitchcam.photo import load_photo
from tests.accuracy import scale_of

SAMPLES = Path(__file__).parents[2] / "samples"


def moved(pixels: np.ndarray, how: str, height: float, length: int) -> np.ndarray:
    h, w = pixels.shape[:2]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    if how == "rows":
        x = x + height * np.sin(2 * np.pi * y / length + 0.7)
    elif how == "columns":
        y = y + height * np.sin(2 * np.pi * x / length + 0.7)
    else:
        random = np.random.default_rng(7)
        coarse = random.normal(0, height, (h // length + 1, w // length + 1, 2))
        by = cv2.resize(coarse.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
        x, y = x + by[..., 0], y + by[..., 1]
    x, y = x.astype(np.float32), y.astype(np.float32)
    return cv2.remap(pixels, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)


@pytest.mark.parametrize(
    "name, how, height, length",
    [
        ("p05-unf12-pin", "rows", 0.5, 200),
        ("p09-g12-disc", "rows", 2.0, 600),
        ("p12-npt38-card", "columns", 1.0, 200),
        ("p12-npt38-card", "pieces", 1.0, 64),
        ("p05-unf12-pin", "pieces", 1.0, 64),
    ],
)
def test_a_sample_moved_in_rows_columns_or_pieces_is_refused(
    name: str, how: str, height: float, length: int
) -> None:
    truth = json.loads((SAMPLES / f"{name}.json").read_text())
    photo = load_photo(SAMPLES / f"{name}.jpg")
    photo = replace(photo, pixels=moved(photo.pixels, how, height, length))
    with pytest.raises(UnreadableError, match=r"straight edges wave") as caught:
        pitchcam.identify(photo, scale_of(truth), plots=False)
    assert caught.value.code == "damaged"
    words = "piece by piece" if how == "pieces" else f"in step along the {how}"
    assert words in caught.value.message
