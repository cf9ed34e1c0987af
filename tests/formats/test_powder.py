"""Patterns as text: all usual kinds give the same two columns; what is none is refused in words."""

import numpy as np
import pytest

from teardown.formats.powder import BrokenRow, NoPattern, NotText, OneColumn, read_pattern
from teardown.formats.powder_cif import CifWithoutPattern
from teardown.science.crystallography.phantoms import powder_pattern
from teardown.science.crystallography.quality import AnglesOutOfOrder, NotDegrees, NotNumbers, TooFewPoints
from teardown.science.errors import Refusal

MADE = powder_pattern({"iron": 0.6, "magnetite": 0.4}, range_deg=(20.0, 90.0, 0.05), seed=3)
X, Y = MADE.two_theta_deg, MADE.counts


def rows(form="{:.2f} {:.0f}", x=X, y=Y):
    return "\n".join(form.format(a, b) for a, b in zip(x, y, strict=True))


KINDS = {
    "spaces": rows(),
    "tabs": rows("{:.2f}\t{:.0f}"),
    "leading spaces": rows("   {:.2f}    {:.0f}  "),
    "commas": rows("{:.2f},{:.0f}"),
    "commas and spaces": rows("{:.2f}, {:.0f}"),
    "semicolons": rows("{:.2f};{:.0f}"),
    "exponents": rows("{:.6e} {:.6e}"),
    "decimal comma, tabs": rows("{:.2f}\t{:.1f}").replace(".", ","),
    "decimal comma, semicolons": rows("{:.2f};{:.1f}").replace(".", ","),
    "decimal comma, spaces": rows("{:.2f}  {:.0f}").replace(".", ","),
    "header": "Specimen: strip 3\n2theta counts\n" + rows(),
    "comments": "# made\n! by\n" + rows() + "\n# end",
    "start, step, end first": "20.00 0.05 90.00\n" + rows(),
    "windows": "\ufeff" + rows().replace("\n", "\r\n"),
    "quoted": '"2theta","counts"\n' + rows('"{:.2f}","{:.0f}"'),
    "quoted, decimal comma": rows('"{:.2f}","{:.0f}"').replace(".", ","),
    "thousands by comma": rows("{:.2f}\t{:,.0f}"),
    "thousands by point": rows("{:.2f};{:,.0f}").replace(".", "_").replace(",", ".").replace("_", ","),
    "thousands by apostrophe": rows("{:.2f};{:,.0f}").replace(",", "'"),
    "empty rows of a table at the end": rows("{:.2f},{:.0f}") + "\n,\n,\n",
    "filled up with zero bytes": rows() + "\x00" * 60,
    "end mark of an old file system": rows() + "\x1a",
    "number of the point first": "no. 2theta counts\n"
    + "\n".join(f"{n} {line}" for n, line in enumerate(rows().splitlines(), 1)),
    "rate before counts": "2theta cps counts\n" + "\n".join(
        f"{a:.2f} {b / 2:.1f} {b:.0f}" for a, b in zip(X, Y, strict=True)
    ),
    "calculated before observed": "2theta,Ycalc,Yobs\n" + "\n".join(
        f"{a:.2f},{0.9 * b:.1f},{b:.0f}" for a, b in zip(X, Y, strict=True)
    ),
    "spacing before counts": "2theta;d;counts\n" + "\n".join(
        f"{a:.2f};{0.77 / np.sin(np.radians(a / 2)):.4f};{b:.0f}" for a, b in zip(X, Y, strict=True)
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_every_usual_kind_gives_the_same_pattern(kind):
    read = read_pattern(KINDS[kind].encode())
    assert read.two_theta_deg == pytest.approx(X, abs=1e-6)
    assert read.counts == pytest.approx(Y, abs=0.01)
    assert read.sigma is None


def test_a_file_of_another_encoding_is_read():
    assert len(read_pattern(rows().encode("utf-16")).counts) == len(Y)
    assert len(read_pattern(rows().encode("utf-32")).counts) == len(Y)
    assert read_pattern(("Gerät: ä\n" + rows()).encode("latin-1")).header.startswith("Gerät")


def test_header_lines_are_kept_word_for_word():
    assert read_pattern(KINDS["header"].encode()).header == "Specimen: strip 3\n2theta counts"


@pytest.mark.parametrize(
    ("header", "anode"),
    [
        ("Anode: Co", "co"),
        ("wavelength = 1.5406", "cu"),
        ("# lambda 1.78900", "co"),
        ("Cu K-alpha, 40 kV", "cu"),
        ("radiation Mo", "mo"),
        ("Specimen: cobalt-free", None),
        ("Wavelength K-Alpha1: 1.78901 K-Beta: 1.62083", "co"),
        ("Anode material: Cu", "cu"),
        ("strip of Fe-Kathode, Fe K42", None),
        ("wavelength 0.4959", None),
        ("", None),
    ],
)
def test_the_tube_is_taken_from_the_header_as_a_hint(header, anode):
    assert read_pattern(f"{header}\n{rows()}".encode()).anode == anode


def test_a_third_column_like_the_root_of_the_counts_is_their_uncertainty():
    text = "\n".join(f"{a:.2f} {b:.0f} {np.sqrt(b):.3f}" for a, b in zip(X, Y, strict=True))
    assert read_pattern(text.encode()).sigma == pytest.approx(np.sqrt(Y), abs=1e-3)


def test_a_third_column_of_another_kind_is_remarked_and_left():
    text = "\n".join(f"{a:.2f} {b:.0f} 9999" for a, b in zip(X, Y, strict=True))
    read = read_pattern(text.encode())
    assert read.sigma is None
    assert "THIRD_COLUMN" in [r.code for r in read.remarks]


def test_a_column_named_as_uncertainties_is_not_taken_if_it_holds_something_else():
    for third in (Y, 1 / Y, 100 / np.sqrt(Y), 0 * Y):
        text = "\n".join(f"{a:.2f} {b:.0f} {c:.6f}" for a, b, c in zip(X, Y, third, strict=True))
        read = read_pattern(text.encode(), "a.xye")
        assert read.sigma is None
        assert [r.code for r in read.remarks] == ["SIGMA_STRANGE"]


def test_uncertainties_of_rates_are_taken():
    text = "\n".join(f"{a:.2f} {b / 10:.2f} {np.sqrt(b) / 10:.4f}" for a, b in zip(X, Y, strict=True))
    assert read_pattern(text.encode(), "a.xye").sigma == pytest.approx(np.sqrt(Y) / 10, abs=1e-3)


CIF_LIST = (
    "data_a\n_diffrn_radiation_wavelength 1.78900\nloop_\n_pd_meas_2theta_scan\n_pd_meas_counts_total\n"
)
CIF_RANGE = (
    "data_a\n_pd_meas_2theta_range_min 20.0\n_pd_meas_2theta_range_inc 0.05\nloop_\n_pd_meas_counts_total\n"
)


def test_a_powder_cif_with_listed_angles_is_read():
    read = read_pattern((CIF_LIST + rows()).encode())
    assert read.counts == pytest.approx(Y)
    assert read.anode == "co"
    assert read.kind == "powder CIF"


def test_a_powder_cif_with_a_range_and_step_is_read():
    counts = "\n".join(f"{v:.0f}({np.sqrt(v):.0f})" for v in Y)
    read = read_pattern((CIF_RANGE + counts).encode())
    assert read.two_theta_deg == pytest.approx(X)
    assert read.sigma == pytest.approx(np.sqrt(Y), abs=0.51)


@pytest.mark.parametrize(
    ("text", "refusal", "says"),
    [
        ("", NoPattern, "empty"),
        ("nothing here\nat all", NoPattern, "two numbers"),
        ("\n".join(f"{v:.0f}" for v in Y), OneColumn, "one number"),
        ("\n".join(f"{v:.2f}" for v in X).replace(".", ","), OneColumn, "decimal comma"),
        (rows(x=X[:5], y=Y[:5]), TooFewPoints, "5 points"),
        (rows(x=X[::-1], y=Y[::-1]), AnglesOutOfOrder, "fall from 90 to 20"),
        (rows("{:.5f} {:.0f}", x=np.sin(np.radians(X / 2)) * 4 * np.pi / 1.5406), NotDegrees, "q in 1/Å"),
        (rows("{:.5f} {:.0f}", x=np.radians(X)), NotDegrees, "radians"),
        (rows(x=X + 120), NotDegrees, "cannot be 2θ"),
        (rows().replace(f"\n{X[40]:.2f} ", f"\n{X[40]:.2f} nan "), NotNumbers, "row 41"),
        (rows().replace(f"\n{X[40]:.2f} ", f"\n{X[40]:.2f} 1O2 "), BrokenRow, "Line 41"),
        (rows().replace(f"\n{X[40]:.2f} ", "\nbroken 3 "), BrokenRow, "Line 41"),
        (rows(y=np.full_like(Y, 7.0)), Refusal, "run from 7 to 7"),
        ("data_x\n_cell_length_a 3\n", CifWithoutPattern, "no counts"),
        (
            "\n".join(f"{a / 2:.3f} {a:.2f} {b:.0f}" for a, b in zip(X, Y, strict=True)),
            Refusal,
            "rise all along",
        ),
        (rows("{:.2f},{:.0f}").replace(".", ","), BrokenRow, "both columns and decimals"),
        (rows(x=X - 30), NotDegrees, "at 0 or below"),
        (rows() + "\n90.05 3I7", BrokenRow, f"Line {len(X) + 1}"),
        (
            CIF_LIST + rows().replace(f"\n{X[40]:.2f} {Y[40]:.0f}", f"\n{X[40]:.2f} ?"),
            Refusal,
            "missing in row 41",
        ),
        (
            CIF_RANGE.replace("data_a", "data_a\n_pd_meas_2theta_range_max 80.0")
            + "\n".join(f"{v:.0f}" for v in Y),
            CifWithoutPattern,
            "end at 90",
        ),
    ],
)
def test_what_is_no_pattern_is_refused_with_its_place(text, refusal, says):
    with pytest.raises(refusal, match=says):
        read_pattern(text.encode())


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("wavelength 0.4959\n" + rows(), "RADIATION_UNKNOWN"),
        ("Anode material: Ag\n" + rows(), "RADIATION_UNKNOWN"),
        ("_diffrn_radiation_probe neutron\n".join(CIF_LIST.split("\n", 1)) + rows(), "RADIATION_UNKNOWN"),
        ("theta counts\n" + rows(), "HEADED_THETA"),
        ("10 40\n" + rows(), "GAP"),
        (
            "2theta counts 2theta counts\n" + "\n".join(f"{r} {r}" for r in rows().splitlines()),
            "THIRD_COLUMN",
        ),
    ],
)
def test_what_may_be_read_wrongly_is_said(text, code):
    assert code in [r.code for r in read_pattern(text.encode()).remarks]


def test_a_column_chosen_by_its_head_is_said():
    (said,) = read_pattern(KINDS["rate before counts"].encode()).remarks
    assert said.code == "CHOSEN_BY_HEAD"
    assert '"counts" as counts' in said.message


def test_a_workbook_is_refused_by_its_name():
    with pytest.raises(NotText, match="workbook"):
        read_pattern(b"PK\x03\x04" + bytes(100))


def test_a_binary_file_is_refused():
    with pytest.raises(NotText, match="binary"):
        read_pattern(b"RAW1.01\x00\x00\x01\x02" * 50)


def test_a_refusal_says_how_to_mend_it():
    with pytest.raises(OneColumn) as refusal:
        read_pattern(b"1\n2\n3\n")
    assert "side by side" in str(refusal.value)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda y: 100 * y / y.max(), "NORMALISED"),
        (lambda y: y / 3.7, "NON_INTEGER"),
        (lambda y: y - np.percentile(y, 40), "NEGATIVE"),
        (lambda y: np.convolve(np.pad(y, 4, "edge"), np.ones(9) / 9, "valid"), "SMOOTHED"),
        (lambda y: np.round(y / 40), "LOW_COUNTS"),
        (lambda y: np.random.default_rng(1).poisson(y + 9000).astype(float), "FLUORESCENCE"),
    ],
)
def test_changed_counts_are_remarked_at_once(change, code):
    text = rows("{:.2f} {:.4f}", y=change(Y))
    assert code in [r.code for r in read_pattern(text.encode()).remarks]


def test_raw_counts_are_not_remarked():
    assert read_pattern(rows().encode()).remarks == ()
