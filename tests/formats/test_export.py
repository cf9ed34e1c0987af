"""Tables as they leave: nothing that a spreadsheet would run, and numbers that stay numbers."""

import csv
import io

import pytest

from teardown.formats.export import csv_lines, neutral


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+1+1",
        "-1+1",
        "@SUM(A1)",
        "\t=1",
        "\r=1",
        "＝1+1",
        " =1+1",
        "\u200b=1",
        "-cmd|' /C calc'!A0",
        "=HYPERLINK(1)",
    ],
)
def test_what_a_spreadsheet_would_run_is_made_text(text):
    """OWASP ASVS 5.0.0, 1.2.10."""
    assert neutral(text) == "'" + text


@pytest.mark.parametrize(
    ("value", "written"),
    [
     (-0.88, "-0.88"), ("-0.88", "-0.88"), ("+1,5e-3", "+1,5e-3"), (1.0, "1"),
     (0.1 + 0.2, "0.30000000000000004"),
     (None, ""), (True, "yes"), (7, "7"), ("SP-0413", "SP-0413"), ("a=b", "a=b"), ("", "")],
)  # fmt: skip
def test_numbers_and_words_stay_as_they_are(value, written):
    assert neutral(value) == written


def test_a_table_reads_back():
    text = "".join(csv_lines(["a", "b"], [["x\ny", 'q"q'], ["µ", -1.5]]))
    assert text.startswith("\ufeff")
    assert list(csv.reader(io.StringIO(text[1:]))) == [["a", "b"], ["x\ny", 'q"q'], ["µ", "-1.5"]]
