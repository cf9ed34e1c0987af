"""What container a recording came in, told by its bytes in a child process with little memory and time.

Nothing is decoded or played here: the container is walked just far enough to see that it holds sound and no
picture. Sources: WebM is Matroska, RFC 9559 (DocType, TrackType), over EBML, RFC 8794; Ogg is RFC 3533, with
Opus, RFC 7845; MP4 is ISO/IEC 14496-12 (boxes, ``ftyp``, ``hdlr``); WAVE is a RIFF form. Numbers are from
memory.
"""

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from teardown.formats import child

LARGEST_BYTES = 16 * 2**20
MEMORY_BYTES = 600_000_000
EBML, SEGMENT, TRACKS, ENTRY = 0x1A45DFA3, 0x18538067, 0x1654AE6B, 0xAE
DOC_TYPE, TRACK_TYPE = 0x4282, 0x83
MOVIE_BOXES = (b"moov", b"trak", b"mdia")


@dataclass(frozen=True, slots=True)
class Sound:
    """A container that holds sound and nothing else; ``kind`` is "webm", "ogg", "mp4" or "wave"."""

    kind: str


def look_at_sound(source: Path) -> Sound | str:
    """Tell what a recording is, or in a sentence why it is none."""
    answer = child.ask("teardown.formats.sound", str(source))
    if answer is None:
        return "It cannot be read as a recording."
    said = json.loads(answer)
    return Sound(said["kind"]) if said["kind"] else str(said["why"])


def kind_of_sound(data: bytes) -> tuple[str, str]:
    """Give the container and nothing, or nothing and why not."""
    if data.startswith(b"\x1a\x45\xdf\xa3"):
        return _webm(data)
    if data.startswith(b"OggS"):
        first = data[27 : 27 + 300]
        known = b"OpusHead" in first or b"\x01vorbis" in first or b"\x7fFLAC" in first
        return ("ogg", "") if known else ("", "This Ogg file holds no sound that is known here.")
    if data[4:8] == b"ftyp":
        return _mp4(data)
    if data.startswith(b"RIFF") and data[8:12] == b"WAVE":
        return ("wave", "") if b"fmt " in data[12:4096] else ("", "This WAVE file does not say its format.")
    return "", "These bytes are no WebM, Ogg, MP4 or WAVE recording."


def _webm(data: bytes) -> tuple[str, str]:
    top = dict(_elements(data))
    doc = dict(_elements(top.get(EBML, b""))).get(DOC_TYPE, b"").rstrip(b"\x00")
    if doc not in (b"webm", b"matroska"):
        return "", "This EBML file is no WebM."
    tracks = dict(_elements(top.get(SEGMENT, b""))).get(TRACKS, b"")
    kinds = [
        dict(_elements(body)).get(TRACK_TYPE, b"") for number, body in _elements(tracks) if number == ENTRY
    ]
    if any(int.from_bytes(kind) != 2 for kind in kinds):
        return "", "This WebM file holds more than sound."
    return ("webm", "") if kinds else ("", "This WebM file holds no sound.")


def _elements(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Give the elements of EBML: number and body. One of unknown size reaches to the end."""
    at = 0
    while at < len(data):
        wide = 9 - data[at].bit_length()
        number = int.from_bytes(data[at : at + wide])
        at += wide
        if wide > 4 or at >= len(data):
            return
        wide = 9 - data[at].bit_length()
        size = int.from_bytes(data[at : at + wide]) - (1 << 7 * wide)
        at += wide
        if wide > 8 or size < 0:  # cut off within the size
            return
        if size == (1 << 7 * wide) - 1:
            size = len(data) - at
        yield number, data[at : at + size]
        at += size


def _mp4(data: bytes) -> tuple[str, str]:
    handlers = list(_handlers(data))
    if b"vide" in handlers:
        return "", "This MP4 file holds more than sound."
    return ("mp4", "") if b"soun" in handlers else ("", "This MP4 file holds no sound.")


def _handlers(data: bytes, depth: int = 0) -> Iterator[bytes]:
    at = 0
    while at + 8 <= len(data) and depth < 6:
        size, kind, head = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8], 8
        if size == 1:
            size, head = int.from_bytes(data[at + 8 : at + 16]), 16
        size = size or len(data) - at
        if size < head:
            return
        body = data[at + head : at + size]
        if kind == b"hdlr":
            yield body[8:12]
        elif kind in MOVIE_BOXES:
            yield from _handlers(body, depth + 1)
        at += size


def main(arguments: list[str]) -> int:
    """Look at one file; the child's own part."""
    child.limit(memory_bytes=MEMORY_BYTES)
    with Path(arguments[0]).open("rb") as file:
        data = file.read(LARGEST_BYTES + 1)
    kind, why = kind_of_sound(data)
    sys.stdout.write(json.dumps({"kind": kind, "why": why}))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
