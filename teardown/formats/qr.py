"""Reads the QR codes on a photograph, in a child process with little memory and little time.

Run as ``python -m teardown.formats.qr PATH``; it prints the texts as a JSON list. The picture is opened by
the same narrow door as every photograph (JPEG, PNG, TIFF; 120 megapixels at most) before a decoder sees it.
"""

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from teardown.formats import child
from teardown.formats.preview import LARGEST_PIXELS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

LONGEST_TEXT = 200
SIDES_PX = (1600, 900, 2800)


def read_qr(source: Path) -> tuple[str, ...] | None:
    """Read every QR code of a picture.

    Returns
    -------
    tuple of str, or None
        The texts, each once; empty where none can be read; None for what is no picture, or one that takes
        more time or memory than is allowed.
    """
    answer = child.ask("teardown.formats.qr", str(source))
    return None if answer is None else tuple(str(text) for text in json.loads(answer))


def codes_on(grey: "NDArray[np.uint8]") -> list[str]:
    """Read the QR codes of a grey picture, of shape (rows, columns)."""
    import cv2

    for seen in _sizes(grey):
        for detector in (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco()):
            texts = _decoded(detector, seen)
            if texts:
                return texts
    return []


def _sizes(grey: "NDArray[np.uint8]") -> Iterator[Any]:
    """Give the picture at the sizes at which codes are looked for, then with its contrast evened out."""
    import cv2

    longest = max(grey.shape)
    sides = sorted({min(side, longest) for side in SIDES_PX}, key=lambda side: abs(side - SIDES_PX[0]))
    scaled: list[Any] = []
    for side in sides:
        size = (round(grey.shape[1] * side / longest), round(grey.shape[0] * side / longest))
        scaled.append(grey if side == longest else cv2.resize(grey, size, interpolation=cv2.INTER_AREA))
        yield scaled[-1]
    yield cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(scaled[0])
    if longest < SIDES_PX[0]:
        yield cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)


def _decoded(detector: Any, grey: Any) -> list[str]:
    import cv2

    try:
        found, texts, _, _ = detector.detectAndDecodeMulti(grey)
    except cv2.error:  # the detector falls over some shapes that only look like finder patterns
        return []
    return list(dict.fromkeys(text[:LONGEST_TEXT] for text in texts if text)) if found else []


def main(arguments: list[str]) -> int:
    """Read one picture; the child's own part."""
    child.limit()
    import numpy as np
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = LARGEST_PIXELS
    try:
        with Image.open(arguments[0], formats=("JPEG", "PNG", "TIFF")) as picture:
            if picture.width * picture.height > LARGEST_PIXELS:
                return 2
            picture.draft("L", (SIDES_PX[-1], SIDES_PX[-1]))
            grey = ImageOps.exif_transpose(picture).convert("L")
            grey.thumbnail((SIDES_PX[-1], SIDES_PX[-1]))
        sys.stdout.write(json.dumps(codes_on(np.asarray(grey))))
    except Exception as error:  # noqa: BLE001 - whatever a picture does to the child, the page goes on
        sys.stderr.write(f"{type(error).__name__}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
