"""Draw the page's guide: small pictures of what a photo should and should not look like.

Run from the repository root: ``python docs/draw_guide.py``.
"""

from pathlib import Path

import cv2

ROOT = Path(__file__).parents[1]
TARGET = ROOT / "pitchcam" / "page" / "static" / "guide"
#: name -> (sample, width in px, centre and width of the cut-out in shares of the photo)
PICTURES = {
    "good": ("p05-unf12-pin", 640, (0.5, 0.5, 0.62)),
    "blurred": ("p22-blurred", 400, (0.5, 0.53, 0.34)),
    "bright": ("p24-over-exposed", 400, (0.5, 0.5, 0.5)),
    "cut": ("p23-cut", 400, (0.62, 0.5, 0.7)),
    "few": ("p25-few-turns", 400, (0.52, 0.52, 0.34)),
    "mirrored": ("p06-unf58-pin", 400, (0.46, 0.5, 0.4)),
}


def main() -> None:
    """Write every picture."""
    TARGET.mkdir(exist_ok=True)
    for name, (sample, width, (x, y, share)) in PICTURES.items():
        photo = cv2.imread(str(ROOT / "samples" / f"{sample}.jpg"))
        h, w = photo.shape[:2]
        cut_w, cut_h = round(share * w), round(share * w * 0.75)
        left = min(max(0, round(x * w - cut_w / 2)), w - cut_w)
        top = min(max(0, round(y * h - cut_h / 2)), h - cut_h)
        cut = photo[top : top + cut_h, left : left + cut_w]
        small = cv2.resize(cut, (width, round(width * 0.75)), interpolation=cv2.INTER_AREA)
        cv2.imwrite(str(TARGET / f"{name}.jpg"), small, [cv2.IMWRITE_JPEG_QUALITY, 72])


if __name__ == "__main__":
    main()
