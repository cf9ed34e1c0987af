"""A label that this application prints is read back from a photograph of it."""

import io

import numpy as np
import pytest
from PIL import Image, ImageFilter

from teardown.dissection.dossier.labels import SIZES, Label, labels_png
from teardown.dissection.rules.codes import read_code, with_check
from teardown.formats.qr import codes_on, read_qr

CODE = with_check("S7K2M9R")


@pytest.fixture(scope="module")
def label():
    printed = labels_png([Label(CODE, "SP-0413 iron electrode A.M2", "section")], SIZES["roll"], 300)
    return Image.open(io.BytesIO(printed)).convert("L")


def on_a_bench(label, turn, blur, stain=False, scale=1.2):
    """Lay a label on a grey bench, turned, out of focus, with a stain over one of its two codes."""
    bench = Image.new("L", (1600, 1200), 118)
    laid = label.resize((int(label.width * scale), int(label.height * scale)))
    if stain:
        laid.paste(60, (0, 0, laid.width // 4, laid.height))
    bench.paste(laid.rotate(turn, expand=True, fillcolor=118), (300, 200))
    return np.asarray(bench.filter(ImageFilter.GaussianBlur(blur)))


@pytest.mark.parametrize(("turn", "blur"), [(0, 0), (17, 1.2), (-35, 1.0), (90, 1.0), (180, 1.5)])
def test_a_photographed_label_says_its_code_once(label, turn, blur):
    texts = codes_on(on_a_bench(label, turn, blur))
    assert texts == [CODE]
    assert read_code(texts[0]) == CODE


def test_a_stain_over_one_code_leaves_the_other(label):
    assert codes_on(on_a_bench(label, 5, 1, stain=True)) == [CODE]


def test_an_empty_bench_says_nothing(label):
    assert codes_on(np.full((600, 800), 118, np.uint8)) == []


def test_the_limited_child_reads_a_file_and_refuses_what_is_none(label, tmp_path):
    picture, text = tmp_path / "label.jpg", tmp_path / "label.png"
    Image.fromarray(on_a_bench(label, 8, 1)).save(picture, quality=85)
    text.write_bytes(b"\x89PNG\r\n\x1a\n no picture")
    assert read_qr(picture) == (CODE,)
    assert read_qr(text) is None
