"""Small pictures of photographs for pages, drawn anew in a child process with little memory and time.

The original is never served inline and never changed. A preview carries none of its metadata: no place, no
device, no words. Run as ``python -m teardown.formats.preview IN OUT WIDTH``, or with IN alone to be told the
size in pixels.
"""

import subprocess
import sys
from pathlib import Path

MEMORY_BYTES = 1_500_000_000
CPU_SECONDS = 20
WALL_SECONDS = 30
LARGEST_PIXELS = 120_000_000
QUALITY = 82
_ROOT = Path(__file__).resolve().parents[2]


def draw_preview(source: Path, target: Path, width_px: int) -> bool:
    """Draw a JPEG at most ``width_px`` wide, upright by the camera's own note; tell whether it could be done.

    A picture that kills or stalls the child, or is larger than 120 megapixels, gets no preview.
    """
    done = _child(str(source), str(target), str(width_px))
    return done is not None and done.returncode == 0 and target.exists()


def picture_size(source: Path) -> tuple[int, int] | None:
    """Give width and height in pixels as stored; None for what is no picture or larger than 120 megapixels.

    The picture is decoded whole in the child, so that a broken one is known at once.
    """
    done = _child(str(source))
    words = done.stdout.split() if done is not None and done.returncode == 0 else []
    return (int(words[0]), int(words[1])) if len(words) == 2 else None


def _child(*arguments: str) -> "subprocess.CompletedProcess[bytes] | None":
    command = [sys.executable, "-m", "teardown.formats.preview", *arguments]
    try:
        # the command is this very module; paths are arguments, never a line for a shell
        return subprocess.run(  # noqa: S603
            command,
            capture_output=True,
            timeout=WALL_SECONDS,
            cwd=_ROOT,
            check=False,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        return None


def _limit() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS + 5))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def main(arguments: list[str]) -> int:
    """Draw one preview; the child's own part."""
    _limit()
    from PIL import Image, ImageOps

    Image.MAX_IMAGE_PIXELS = LARGEST_PIXELS
    try:
        with Image.open(arguments[0], formats=("JPEG", "PNG", "TIFF")) as picture:
            if picture.width * picture.height > LARGEST_PIXELS:
                return 2
            if len(arguments) == 1:
                picture.load()
                sys.stdout.write(f"{picture.width} {picture.height}\n")
                return 0
            target, width = Path(arguments[1]), int(arguments[2])
            picture.draft("RGB", (width, width))
            upright = ImageOps.exif_transpose(picture)
            small = upright if upright.mode in {"RGB", "L"} else upright.convert("RGB")
            small.thumbnail((width, 4 * width), Image.Resampling.LANCZOS)
            clean = Image.new(small.mode, small.size)
            clean.paste(small)
            clean.save(target, "JPEG", quality=QUALITY, optimize=True)
    except Exception as error:  # noqa: BLE001 - whatever a picture does to the child, the page goes on
        sys.stderr.write(f"{type(error).__name__}\n")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
