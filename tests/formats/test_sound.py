"""A recording is known by its bytes; what holds more than sound, or none, is refused in words."""

import io
import wave

import pytest

from teardown.formats.sound import Sound, kind_of_sound, look_at_sound


def element(number, body):
    head = number.to_bytes((number.bit_length() + 7) // 8)
    return head + (0x10000000 | len(body)).to_bytes(4) + body


def webm(*tracks, doc=b"webm", known=True):
    """Write the head of a WebM file with tracks of these types (1 is a picture, 2 is sound)."""
    entries = b"".join(
        element(0xAE, element(0xD7, b"\x01") + element(0x83, bytes([kind]))) for kind in tracks
    )
    body = element(0x1549A966, element(0x2AD7B1, b"\x0f\x42\x40")) + element(0x1654AE6B, entries)
    body += element(0x1F43B675, b"\xe7\x81\x00")
    size = element(0x18538067, body) if known else b"\x18\x53\x80\x67\x01" + b"\xff" * 7 + body
    return element(0x1A45DFA3, element(0x4282, doc)) + size


def box(kind, body):
    return (8 + len(body)).to_bytes(4) + kind + body


def mp4(*handlers):
    traks = b"".join(
        box(b"trak", box(b"mdia", box(b"hdlr", bytes(8) + handler + bytes(12)))) for handler in handlers
    )
    return box(b"ftyp", b"isom" + bytes(4)) + box(b"mdat", bytes(40)) + box(b"moov", traks)


def waves():
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(8000)
        out.writeframes(bytes(1600))
    return file.getvalue()


OGG = b"OggS\x00\x02" + bytes(20) + b"\x01\x13OpusHead\x01\x01" + bytes(10)


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (webm(2), "webm"),
        (webm(2, known=False), "webm"),
        (OGG, "ogg"),
        (mp4(b"soun"), "mp4"),
        (waves(), "wave"),
    ],
)
def test_a_recording_is_known_by_its_container(data, kind):
    assert kind_of_sound(data) == (kind, "")


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (webm(1, 2), "more than sound"), (webm(), "holds no sound"), (webm(2, doc=b"other"), "no WebM"),
        (mp4(b"vide", b"soun"), "more than sound"), (mp4(b"text"), "no sound"),
        (b"OggS" + bytes(80), "no sound"), (b"<html><script>", "no WebM, Ogg, MP4 or WAVE"), (b"", "no WebM"),
        (b"\x89PNG\r\n\x1a\n", "no WebM"), (b"RIFF\x00\x00\x00\x00WAVE", "does not say its format"),
    ],
)  # fmt: skip
def test_what_is_no_recording_is_told_why(data, why):
    kind, said = kind_of_sound(data)
    assert (kind, why in said) == ("", True)


@pytest.mark.parametrize("whole", [webm(2), mp4(b"soun"), waves(), OGG])
def test_no_cut_or_flipped_byte_makes_it_fall_over(whole):
    for at in range(0, len(whole), 3):
        kind_of_sound(whole[:at])
        kind_of_sound(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])


def test_the_child_answers_for_a_file(tmp_path):
    good, bad = tmp_path / "note.webm", tmp_path / "note.txt"
    good.write_bytes(webm(2))
    bad.write_bytes(b"a note in words")
    assert look_at_sound(good) == Sound("webm")
    assert "no WebM" in look_at_sound(bad)
