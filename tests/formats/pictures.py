"""Make picture files, odd and bad ones too."""

import io
import struct
import zlib

import numpy as np
import tifffile
from PIL import Image

RAMP = (np.add.outer(np.arange(96), np.arange(128)) % 256).astype(np.uint8)
DEEP = (RAMP.astype(np.uint16) << 8) | 7


def tiff(array=RAMP, **options):
    """A TIFF file of an array, by the independent writer."""
    out = io.BytesIO()
    tifffile.imwrite(out, array, **{"photometric": "minisblack", "metadata": None, **options})
    return out.getvalue()


def by_pillow(array, form, **options):
    """A file of an array, by the other writer."""
    out = io.BytesIO()
    Image.fromarray(array).save(out, form, **options)
    return out.getvalue()


def png_bomb(side=20_000):
    """A small PNG file that claims a huge picture."""

    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)
    squeezed = zlib.compress(bytes(side + 1) * 64, 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", squeezed) + chunk(b"IEND", b"")
