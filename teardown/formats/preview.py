"""Small pictures of photographs for pages, drawn anew in a child process with little memory and time.

The original is never served inline and never changed. A preview carries none of its metadata: no place, no
device, no words. Run as ``python -m teardown.formats.preview IN OUT WIDTH``; with ``facts`` behind it the
picture is decoded whole, and its size in pixels and how sharp it is are told as well.
"""

import io
import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from teardown.formats import child

if TYPE_CHECKING:
    from PIL import Image

NAME = "teardown.formats.preview"
LARGEST_PIXELS = 120_000_000
QUALITY = 82
SMALL_PX = 480
"""Width of the preview that most pages show."""


def draw_preview(source: Path, target: Path, width_px: int) -> bool:
    """Draw a JPEG at most ``width_px`` wide, upright by the camera's own note; tell whether it could be done.

    A picture that kills or stalls the child, or is larger than 120 megapixels, gets no preview.
    """
    return child.ask(NAME, str(source), str(target), str(width_px)) is not None and target.exists()


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """Width and height in pixels as stored, and `sharpness`; that is None where the picture shows nothing."""

    width_px: int
    height_px: int
    sharpness: float | None


def picture_facts(source: Path, small: Path, width_px: int) -> PictureFacts | None:
    """Give the facts of a picture, and draw a preview of it into ``small`` as `draw_preview` does.

    None for what is no picture or larger than 120 megapixels. The picture is decoded whole in the child, so
    that a broken one is known at once.
    """
    answer = child.ask(NAME, str(source), str(small), str(width_px), "facts")
    return None if answer is None else PictureFacts(**json.loads(answer))


def _facts(picture: "Image.Image") -> dict[str, float | None]:
    import numpy as np

    from teardown.formats.sharpness import LONG_SIDE_PX, sharpness

    picture.load()
    facts: dict[str, float | None] = {"width_px": picture.width, "height_px": picture.height}
    grey = picture.convert("L")
    grey.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
    return facts | {"sharpness": sharpness(np.asarray(grey, dtype=np.float32))}


def shrink(picture: "Image.Image", width_px: int) -> bytes:
    """Draw a JPEG of a picture, upright and bare of metadata."""
    from PIL import Image, ImageOps

    upright = ImageOps.exif_transpose(picture)
    small = upright if upright.mode in {"RGB", "L"} else upright.convert("RGB")
    small.thumbnail((width_px, 4 * width_px), Image.Resampling.LANCZOS)
    clean = Image.new(small.mode, small.size)
    clean.paste(small)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def main(arguments: list[str]) -> int:
    """Draw one preview; the child's own part."""
    child.limit()
    from PIL import Image

    Image.MAX_IMAGE_PIXELS = LARGEST_PIXELS
    try:
        with Image.open(arguments[0], formats=("JPEG", "PNG", "TIFF")) as picture:
            if picture.width * picture.height > LARGEST_PIXELS:
                return 2
            target, width = Path(arguments[1]), int(arguments[2])
            if arguments[3:] == ["facts"]:
                sys.stdout.write(json.dumps(_facts(picture)))
            else:
                picture.draft("RGB", (width, width))
            target.write_bytes(shrink(picture, width))
    except Exception as error:  # noqa: BLE001 - whatever a picture does to the child, the page goes on
        sys.stderr.write(f"{type(error).__name__}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
