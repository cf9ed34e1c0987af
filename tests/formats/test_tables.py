"""Tables as laboratories send them: what is read, what is refused by its number, what is never guessed."""

import csv
import io
import zipfile

import fastexcel
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from teardown.formats.tables import Limits, UnreadableTable, read_table
from teardown.formats.workbook import UnreadableWorkbook
from tests.formats.workbooks import cell, row, workbook


def cells(data: bytes) -> list[dict[str, str]]:
    return [row.cells for row in read_table(data).rows]


def test_the_examples_of_rfc_4180_read_as_it_says():
    """RFC 4180, section 2: rules 1 to 7."""
    assert cells(b"h1,h2,h3\r\naaa,bbb,ccc\r\nzzz,yyy,xxx")[1] == {"h1": "zzz", "h2": "yyy", "h3": "xxx"}
    assert cells(b'h1,h2,h3\r\n"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx\r\n')[0]["h2"] == "b\r\nbb"
    assert cells(b'h1,h2,h3\r\n"aaa","b""bb","ccc"\r\n')[0]["h2"] == 'b"bb'


@settings(deadline=None)  # the first call imports
@given(
    st.lists(
        st.lists(st.text(alphabet='ab ;,"\n\r\tµ=1.', max_size=8), min_size=3, max_size=3),
        min_size=1,
        max_size=6,
    )
)
def test_what_the_standard_library_writes_comes_back(rows):
    out = io.StringIO()
    csv.writer(out).writerows([["a", "b", "c"], *rows])
    got = [tuple(r.values()) for r in cells(out.getvalue().encode())]
    assert got == [tuple(c.strip() for c in r) for r in rows if any(c.strip() for c in r)]


@pytest.mark.parametrize(
    ("encoding", "told"),
    [
        ("utf-8", "UTF-8"),
        ("utf-8-sig", "UTF-8"),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("cp1252", "Windows-1252"),
    ],
)
def test_encodings_are_found_and_told(encoding, told):
    table = read_table("code;thickness (µm)\nSP-1;812,5\n".encode(encoding))
    assert table.encoding == told
    assert table.rows[0].cells == {"code": "SP-1", "thickness (µm)": "812,5"}
    assert bool(table.remarks) == (told == "Windows-1252")


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("a,b,c\n1.5,2,3\n", "comma"),
        ("a;b;c\n1,5;2,5;3\n1,5;2,5;3\n", "semicolon"),
        ("code;mass, g;note\nSP-1;1,2;x\n", "semicolon"),
        ("a\tb\n1,5\t2\n", "tab"),
        ("a|b\n1|2\n", "bar"),
        ("a,b\n", "comma"),
        ('a;b\n"1;2";3\n"4;5";6\n', "semicolon"),
    ],
)
def test_the_delimiter_is_found(text, name):
    assert read_table(text.encode()).delimiter == name


def test_rows_keep_the_numbers_that_a_spreadsheet_shows():
    table = read_table(b'a,b\n\n1,2\n"x\ny",3\n\n5,6\n')
    assert [r.number for r in table.rows] == [3, 4, 6]


def test_one_bad_row_never_blocks_the_others():
    table = read_table(b'code,mass\nSP-1,1\nSP-2,"2\nSP-3,3\nSP-4,4,5\nSP-5,"5"x\nSP-6,6\nSP-7,\x00\n')
    assert [r.cells["code"] for r in table.rows] == ["SP-1", "SP-3", "SP-6"]
    assert [(r.row, r.message.split(" ", 2)[2][:24]) for r in table.refused] == [
        (3, "opens a quotation mark t"),
        (5, "has 3 fields, the head h"),
        (6, "has letters after a clos"),
        (8, "holds a NUL, which no te"),
    ]


def test_a_comment_longer_than_the_limit_refuses_its_row_alone():
    data = f"code,note\nSP-1,{'x' * 400_000}\nSP-2,y\n".encode()
    table = read_table(data)
    assert [r.cells["code"] for r in table.rows] == ["SP-2"]
    assert "400000 characters" in table.refused[0].message
    assert len(table.refused[0].value) < 100


def test_a_formula_in_a_csv_stays_text():
    assert cells(b"code,note\nSP-1,=HYPERLINK(1)\n")[0]["note"] == "=HYPERLINK(1)"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b" \n;;\n", "empty"),
        (b"code,mass,Code\n1,2,3\n", "Two columns are called"),
        (b"\xff\xfe\x00", "UTF-16"),
        (b"a,b\n\x81\x8d\x8f,\xff\n", "neither UTF-8 nor Windows-1252"),
        (b"\x00\x01\x02\x03" * 50, "no text has"),
        (b"\xd0\xcf\x11\xe0" + b"0" * 50, "old kind"),
        (b"PK\x03\x04 and no more", "not a whole XLSX"),
        (("a," * 300 + "\n").encode(), "columns"),
        (b'"a,b\n1,2\n', "row of heads"),
    ],
)
def test_what_is_no_table_is_refused_in_words(data, words):
    with pytest.raises((UnreadableTable, UnreadableWorkbook), match=words):
        read_table(data)


def test_a_table_beyond_the_limits_is_refused_not_cut():
    with pytest.raises(UnreadableTable, match="more than 3 rows"):
        read_table(b"a,b\n" + b"1,2\n" * 4, Limits(rows=3))
    with pytest.raises(UnreadableTable, match="MB are read"):
        read_table(b"a,b\n" * 100, Limits(bytes=10))


@settings(deadline=None)  # the first call imports
@given(st.binary(max_size=300))
def test_any_bytes_are_read_or_refused(data):
    try:
        table = read_table(data)
    except (UnreadableTable, UnreadableWorkbook):
        return
    assert table.heads


def test_a_workbook_reads_with_its_row_numbers_dates_and_formulas():
    book = workbook(
        row(2, cell("B2", "code"), cell("C2", "built on"), cell("D2", "mass (g)"), cell("E2", "note")),
        row(
            4, cell("B4", "SP-1"), cell("C4", 46000, style=1), cell("D4", 1.1880000000000002), cell("E4", "a")
        ),
        row(
            5,
            cell("B5", "SP-2"),
            cell("C5", 46000.5, style=1),
            cell("D5", 2, formula="D4*2"),
            cell("E5", "#N/A", kind="e"),
        ),
    )
    table = read_table(book)
    assert [r.number for r in table.rows] == [4, 5]
    assert table.rows[0].cells == {"code": "SP-1", "built on": "2025-12-09", "mass (g)": "1.188", "note": "a"}
    assert table.rows[1].cells == {
        "code": "SP-2",
        "built on": "2025-12-09 12:00:00",
        "mass (g)": "=D4*2",
        "note": "#N/A",
    }
    assert [remark.code for remark in table.remarks] == ["tables.W003"]


def test_days_around_the_leap_day_that_never_was():
    """ECMA-376 Part 1, 18.17.4.1: serial 1 is 1 January 1900, 60 counts a 29 February 1900, 61 is 1 March."""
    book = workbook(
        row(1, cell("A1", "day")), *(row(n, cell(f"A{n}", d, style=1)) for n, d in ((2, 1), (3, 59), (4, 61)))
    )
    assert [c["day"] for c in cells(book)] == ["1900-01-01", "1900-02-28", "1900-03-01"]


@settings(deadline=None)  # the first call imports
@given(
    st.lists(
        st.one_of(
            st.integers(-(10**6), 10**6),
            st.floats(-1e6, 1e6).map(lambda x: round(x, 6)),
            st.text("abcµ <&", min_size=1, max_size=5).filter(lambda t: t.strip() == t),
        ),
        min_size=1,
        max_size=5,
    )
)
def test_values_agree_with_an_independent_reader(values):
    """fastexcel (calamine), a general-purpose reader of workbooks, on the same bytes."""
    book = workbook(row(1, cell("A1", "x")), *(row(n, cell(f"A{n}", v)) for n, v in enumerate(values, 2)))
    other = fastexcel.read_excel(book).load_sheet(0, dtypes="string").to_polars()["x"].to_list()
    ours = [c["x"] for c in cells(book)]

    def plain(text: str) -> float | str:
        try:
            return float(text)
        except ValueError:
            return text

    assert [plain(t) for t in ours] == [plain(t) for t in other]


def test_an_archive_that_unfolds_too_far_is_refused_early():
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * (300 * 2**20))
    with pytest.raises(UnreadableWorkbook, match="unfolds"):
        read_table(packed.getvalue())


def test_entities_are_refused():
    book = workbook(row(1, cell("A1", "x")), before='<!DOCTYPE x [<!ENTITY a "b">]>')
    with pytest.raises(UnreadableWorkbook, match="entities"):
        read_table(book)
