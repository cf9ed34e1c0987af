"""Uploads are opened first by a child with little memory and little time."""

import numpy as np
import pytest

from teardown.formats import gate
from tests.formats.pictures import RAMP, by_pillow, png_bomb, tiff


def test_a_good_file_gives_its_facts_and_bad_ones_a_reason(tmp_path):
    """One child looks at several files; each gets its own answer."""
    contents = [tiff(RAMP), b"no picture", tiff(RAMP)[:2000], png_bomb(), by_pillow(RAMP, "JPEG")]
    paths = []
    for number, data in enumerate(contents):
        paths.append(tmp_path / f"{number}.bin")
        paths[-1].write_bytes(data)
    facts = gate.look(paths)
    assert [one["ok"] for one in facts] == [True, False, False, False, True]
    assert (facts[0]["width"], facts[0]["height"], facts[0]["bits"]) == (128, 96, 8)
    assert facts[4]["lossy"]
    assert all(one["reason"].endswith(".") for one in facts if not one["ok"])


def test_a_missing_file_is_an_answer_and_no_crash(tmp_path):
    """The gate falls over nothing."""
    (facts,) = gate.look([tmp_path / "not there.tif"])
    assert not facts["ok"]


@pytest.mark.long
def test_a_file_that_needs_too_much_memory_is_refused_and_its_neighbour_is_not(tmp_path):
    """A claim of gigabytes ends in words."""
    huge, good = tmp_path / "huge.tif", tmp_path / "good.tif"
    huge.write_bytes(tiff(np.zeros((7900, 8000, 3), np.uint16), photometric="rgb", compression="zlib"))
    good.write_bytes(tiff(RAMP))
    facts = gate.look([huge, good])
    assert [one["ok"] for one in facts] == [False, True]
