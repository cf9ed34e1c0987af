"""The benchmark of diffraction runs on the frozen patterns and says what it found."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command


@pytest.mark.long
def test_one_mixture_a_level_gives_a_document():
    out = StringIO()
    call_command("benchmark_diffraction", "--mixtures", "1", "--seed", "3", "--json", stdout=out)
    document = json.loads(out.getvalue())
    levels = document["levels"]
    assert [row["what"] for row in document["speeds"]][:2] == ["import", "three phases"]
    # the goals are for a quiet machine; on a crowded one a process takes several times as long
    assert all(0 < row["cpu_s"] < 8 * row["goal_s"] for row in document["speeds"])
    assert [row["highest"] for row in levels] == [20_000, 5_000, 2_000]
    assert levels[0]["mean_error_percent"] < 0.5
    assert all(row["missed"] == 0 for row in levels)


def test_patterns_that_are_not_there_are_refused(tmp_path):
    with pytest.raises(CommandError, match="is not there"):
        call_command("benchmark_diffraction", "--pure", str(tmp_path / "none.npz"))
