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
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_usual_kind_gives_the_same_pattern(kind):
    read = read_pattern(KINDS[kind].encode())
    assert read.two_theta_deg == pytest.approx(X, abs=1e-6)
    assert read.counts == pytest.approx(Y, abs=0.01)
    assert read.sigma is None


def test_a_file_of_another_encoding_is_read():
    assert len(read_pattern(rows().encode("utf-16")).counts) == len(Y)
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
    assert read_pattern(text.encode(), "a.xye").sigma is not None


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
    ],
)
def test_what_is_no_pattern_is_refused_with_its_place(text, refusal, says):
    with pytest.raises(refusal, match=says):
        read_pattern(text.encode())


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
