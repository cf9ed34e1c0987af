"""The command that fits one pattern without a database."""

import json
from io import StringIO
from pathlib import Path

import jsonschema
import pytest
from django.core.management import call_command

from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phantoms import powder_pattern

SCHEMA = json.loads(
    (Path(__file__).parents[2] / "static" / "schemas" / "fit_pattern.schema.json").read_text()
)
TRUTH = {"iron": 0.5, "magnetite": 0.3, "iron-hydroxide": 0.2}


@pytest.fixture(scope="module")
def pattern(tmp_path_factory):
    made = powder_pattern(TRUTH, seed=11)
    path = tmp_path_factory.mktemp("patterns") / "strip.xy"
    path.write_text(
        "\n".join(f"{a:.2f} {b:.0f}" for a, b in zip(made.two_theta_deg, made.counts, strict=True))
    )
    return path


def said(path, *options, ends=None):
    out = StringIO()
    if ends is None:
        call_command("fit_pattern", str(path), *options, stdout=out)
    else:
        with pytest.raises(SystemExit) as end:
            call_command("fit_pattern", str(path), *options, stdout=out)
        assert end.value.code == ends
    return out.getvalue()


def test_the_document_keeps_to_its_schema_and_to_the_truth(pattern):
    document = json.loads(said(pattern, "--phases", "iron,magnetite,Fe(OH)2,goethite", "--json"))
    jsonschema.validate(document, SCHEMA)
    found = {row["phase"]: row["weight_fraction"] for row in document["phases"]}
    assert found == pytest.approx(TRUTH, abs=0.01)
    assert [row["phase"] for row in document["below_limit"]] == ["goethite"]
    assert document["radiation"] == "cu"


def test_the_table_says_the_same_in_words(pattern):
    text = said(pattern, "--phases", "iron,magnetite,iron-hydroxide,goethite", "--particle-size-um", "1-2")
    assert "magnetite" in text
    assert "corrected for grain size" in text
    assert "goethite" in text
    assert "Rwp" in text


def test_a_standard_comes_with_its_amorphous_share(tmp_path):
    made = powder_pattern({"zincite": 0.45, "fluorite": 0.45, "corundum": 0.10}, seed=1)
    path = tmp_path / "mix.csv"
    rows = (f"{a:.2f};{b:.0f}" for a, b in zip(made.two_theta_deg, made.counts, strict=True))
    path.write_text("angle;counts\n" + "\n".join(rows).replace(".", ","))
    document = json.loads(said(path, "--phases", "ZnO,CaF2", "--standard", "corundum=0,10", "--json"))
    jsonschema.validate(document, SCHEMA)
    assert document["amorphous"]["value"] == pytest.approx(0, abs=0.03)
    assert document["standard"]["phase"] == "corundum"


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--phases", ""], "at least one phase"),
        (["--phases", "iron,unobtainium"], "unobtainium"),
        (["--phases", "ferrite"], "may mean"),
        (["--phases", "iron", "--radiation", "uranium"], "not a tube"),
        (["--phases", "iron", "--standard", "corundum"], "corundum=0.10"),
        (["--phases", "iron", "--standard", "corundum=1.2"], "between 0 and 1"),
        (["--phases", "iron", "--standard", "unobtainium=0.1"], "unobtainium"),
        (["--phases", "iron", "--particle-size-um", "big"], "1-5"),
        (["--phases", "iron", "--particle-size-um", "5-1"], "sizes rise"),
        (["--phases", "iron", "--range-deg", "all"], "20-100"),
    ],
)
def test_a_bad_question_gets_its_sentence_and_ends_with_two(pattern, options, says):
    document = json.loads(said(pattern, *options, "--json", ends=2))
    jsonschema.validate(document, SCHEMA)
    assert document["phases"] == []
    assert says in document["refused"][0]["reason"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "empty"),
        (b"1\n2\n3\n", "one number"),
        (b"10 1\n11 2\n12 3\n13 4\n14 5\n", "5 points"),
        (b"\x00\x01RAW", "binary"),
        ("\n".join(f"{90 - i * 0.02:.2f} {i}" for i in range(2000)).encode(), "fall"),
        ("\n".join(f"{1 + i * 0.003:.3f} {i}" for i in range(2000)).encode(), "q in 1/Å"),
        ("\n".join(f"{20 + i * 0.02:.2f} {'nan' if i == 7 else i}" for i in range(2000)).encode(), "row 8"),
    ],
)
def test_a_bad_file_gets_its_sentence_and_ends_with_two(tmp_path, content, says):
    path = tmp_path / "bad.xy"
    path.write_bytes(content)
    document = json.loads(said(path, "--phases", "iron", "--json", ends=2))
    jsonschema.validate(document, SCHEMA)
    assert says in document["refused"][0]["reason"]
    assert says in said(path, "--phases", "iron", ends=2)


def test_a_file_that_is_not_there_gets_its_sentence(tmp_path):
    assert "cannot be read" in said(tmp_path / "none.xy", "--phases", "iron", ends=2)


def written(path, weights, **how):
    made = powder_pattern(weights, **how)
    rows = (f"{a:.2f} {b:.0f}" for a, b in zip(made.two_theta_deg, made.counts, strict=True))
    path.write_text("\n".join(rows))
    return path


def test_slits_and_the_scan_of_a_standard_may_be_named(tmp_path):
    shape = Optics(U=0.002, V=-0.001, W=0.003, X=0.02, Y=0.01)
    sharp = {"lanthanum-hexaboride": 5000}
    scan = written(
        tmp_path / "lab6.xy", {"lanthanum-hexaboride": 1}, optics=shape, sizes_nm=sharp, highest=50_000,
        variable_slits=True,
    )  # fmt: skip
    strip = written(
        tmp_path / "strip.xy", TRUTH, optics=shape, sizes_nm={"iron": 60}, variable_slits=True, seed=2
    )
    options = ("--slits", "variable", "--profile-from", f"{scan}=LaB6", "--json")
    document = json.loads(said(strip, "--phases", "iron,spinel,Fe(OH)2", *options))
    jsonschema.validate(document, SCHEMA)
    iron = next(row for row in document["phases"] if row["phase"] == "iron")
    assert iron["weight_fraction"] == pytest.approx(0.5, abs=0.01)
    assert iron["size_nm"] == pytest.approx(60, rel=0.1)
    assert "SLITS_MISMATCH" not in {flag["code"] for flag in document["flags"]}
    refused = json.loads(said(strip, "--phases", "iron", "--profile-from", "LaB6", "--json", ends=2))
    assert "scan.xy=LaB6" in refused["refused"][0]["reason"]
