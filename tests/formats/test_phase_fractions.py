"""External phase fractions: what is written is what is kept."""

import pytest

from teardown.formats.phase_fractions import NoFractions, read_fractions
from teardown.formats.phase_values import NotAFraction, NotByMass, parse_value

PASTED = """\
magnetite    23.4(5)
Fe           61,2(8)
Fe(OH)2      15.4(12) %
Rwp = 12.3
Rexp: 8,2
GoF 1.50
Software: refinement of ours, version 3
"""


@pytest.mark.parametrize(
    ("text", "value", "esd", "limit"),
    [
        ("23.4(5)", 23.4, 0.5, False),  # the rule of bracketed uncertainties: GUM (JCGM 100:2008) 7.2.2
        ("23.4(12)", 23.4, 1.2, False),
        ("23(2)", 23, 2, False),
        ("0,234(5)", 0.234, 0.005, False),
        (
            "100.021 47(35)".replace(" ", ""),
            100.02147,
            0.00035,
            False,
        ),  # JCGM 100:2008 7.2.2, its own example
        ("23.4 ± 0.5", 23.4, 0.5, False),
        ("23.4+/-0.5 wt%", 23.4, 0.5, False),
        ("< 0.7", 0.7, None, True),
        ("12 %", 12, None, False),
    ],
)
def test_a_written_value_is_read_with_its_uncertainty(text, value, esd, limit):
    read = parse_value(text)
    assert read.value == pytest.approx(value)
    assert read.is_limit is limit
    assert read.esd == (None if esd is None else pytest.approx(esd))


@pytest.mark.parametrize("text", ["", "abc", "1_000", "1.2.3", "23.4(", "nan", "inf", "--3"])
def test_what_is_no_value_is_refused(text):
    with pytest.raises(NotAFraction, match="is not a value"):
        parse_value(text)


def test_pasted_lines_give_phases_figures_and_software():
    result = read_fractions(PASTED)
    assert [(r.phase, round(r.weight_fraction, 4), round(r.esd, 4)) for r in result.rows] == [
        ("magnetite", 0.234, 0.005),
        ("iron", 0.612, 0.008),
        ("iron-hydroxide", 0.154, 0.012),
    ]
    assert result.figures == {"Rwp": pytest.approx(0.123), "Rexp": pytest.approx(0.082), "GoF": 1.5}
    assert result.about["software"] == "refinement of ours, version 3"
    assert result.remarks == ()


@pytest.mark.parametrize(
    "table",
    [
        "phase;wt%;esd;a\nmagnetite;23,4;0,5;8,39\nalpha-Fe;76,6;0,5;2,866\n",
        "phase,wt%,esd,a\nmagnetite,23.4,0.5,8.39\nalpha-Fe,76.6,0.5,2.866\n",
        "phase\twt%\tesd\ta\nmagnetite\t23.4\t0.5\t8.39\nalpha-Fe\t76.6\t0.5\t2.866\n",
        "phase;weight fraction;su;a\nmagnetite;0.234;0.005;8.39\nalpha-Fe;0.766;0.005;2.866\n",
        "\ufeffphase;wt%;esd;a\r\nmagnetite;23.4;0.5;8.39\r\nalpha-Fe;76.6;0.5;2.866\r\n",
    ],
)
def test_every_usual_table_gives_the_same_rows(table):
    result = read_fractions(table.encode())
    assert [(r.phase, round(r.weight_fraction, 6), round(r.esd, 6)) for r in result.rows] == [
        ("magnetite", 0.234, 0.005),
        ("iron", 0.766, 0.005),
    ]
    assert set(result.rows[0].extra) == {"a"}


@pytest.mark.parametrize(
    "line",
    ["Fe3O4,23.4", "Fe3O4, 23.4", "Fe3O4 23,4", "Fe3O4: 23.4", "magnetite low = 23.4 %", '"Fe3O4";"23,4"'],
)
def test_a_comma_is_told_apart_by_what_stands_before_it(line):
    row = read_fractions(line + "\nhematite 76.6").rows[0]
    assert (row.phase, row.weight_fraction) == ("magnetite", pytest.approx(0.234))


def test_a_phase_below_its_limit_stays_a_limit():
    row = read_fractions("iron 99.5(3)\ngoethite < 0,7").rows[1]
    assert (row.weight_fraction, row.esd, row.limit) == (None, None, pytest.approx(0.007))


def test_an_unknown_name_is_kept_and_remarked():
    result = read_fractions("magnetite 40(1)\nunobtainite 60(1)")
    assert result.rows[1].phase is None
    assert result.rows[1].name == "unobtainite"
    assert [r.code for r in result.remarks] == ["EXT_OLD_PHASE"]


def test_a_name_with_two_meanings_asks_which():
    (remark,) = read_fractions("ferrite 40(1)\nhematite 60(1)").remarks
    assert remark.code == "EXT_AMBIGUOUS_PHASE"
    assert "iron" in remark.message
    assert "spinel" in remark.message


def test_a_sum_apart_from_one_hundred_is_remarked():
    (remark,) = read_fractions("iron 40(1)\nmagnetite 50(1)").remarks
    assert remark.code == "EXT_SUM"
    assert "90.0 %" in remark.message


def test_missing_uncertainties_are_named():
    (remark,) = read_fractions("iron 40\nmagnetite 60(1)").remarks
    assert remark.code == "EXT_NO_ESD"
    assert "iron" in remark.message


def test_a_goodness_that_is_not_its_ratio_is_remarked():
    codes = [r.code for r in read_fractions("iron 40(1)\nmagnetite 60(1)\nRwp 12\nRexp 8\nGoF 2.25").remarks]
    assert codes == ["EXT_GOF"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("iron", "Line 1"),
        ("iron 40\nmagnetite abc", "Line 2"),
        ("iron 140(1)\nmagnetite 2", "Line 1"),
        ("iron 40(1)\nFe 60(1)", "Lines 1 and 2"),
        ("phase;wt%\niron;4x", "Line 2"),
        ("phase;wt%\niron", "Line 2 has 1 fields"),
    ],
)
def test_a_bad_line_is_named(text, says):
    with pytest.raises(NotAFraction, match=says):
        read_fractions(text)


@pytest.mark.parametrize("text", ["", "  \n \n", "Rwp 12"])
def test_nothing_to_read_is_refused(text):
    with pytest.raises(NoFractions):
        read_fractions(text)


OLD_NAMES = """data_mix
_pd_proc_ls_prof_wR_factor 0.0812
_pd_proc_ls_prof_wR_expected 0.0600
_computing_structure_refinement 'some program 1.0'
loop_
_pd_phase_id
_pd_phase_name
_pd_phase_mass_%
1 'iron' 61.2(8)
2 magnetite 38.8(8)
"""
NEW_NAMES = """data_mix
loop_
_pd_phase.id
_pd_phase.name
A iron
B magnetite
loop_
_pd_phase_mass.phase_id
_pd_phase_mass.percent
_pd_phase_mass.percent_su
A 61.2 0.8
B 38.8 0.8
"""


@pytest.mark.parametrize("cif", [OLD_NAMES, NEW_NAMES])
def test_a_powder_cif_gives_its_phases_in_old_and_new_names(cif):
    result = read_fractions(cif)
    assert [(r.phase, round(r.weight_fraction, 6), round(r.esd, 6)) for r in result.rows] == [
        ("iron", 0.612, 0.008),
        ("magnetite", 0.388, 0.008),
    ]


def test_a_powder_cif_gives_its_figures_of_merit():
    result = read_fractions(OLD_NAMES)
    assert result.figures == {"Rwp": 0.0812, "Rexp": 0.06}
    assert result.about["software"] == "some program 1.0"


def test_a_cif_without_fractions_is_refused():
    with pytest.raises(NoFractions, match="no _pd_phase_mass"):
        read_fractions("data_x\n_cell_length_a 3.0\n")


@pytest.mark.parametrize("head", ["mol%", "mole %", "vol.%", "at%", "volume percent"])
def test_shares_that_are_not_by_mass_are_refused(head):
    with pytest.raises(NotByMass, match="Turn them into weight percent"):
        read_fractions(f"phase;{head}\niron;60\nmagnetite;40")


@pytest.mark.parametrize(("head", "factor"), [("esd", 1), ("3sigma", 3), ("2 σ", 2), ("95 % CI", 1.96)])
def test_wider_spreads_are_kept_as_one_standard_uncertainty(head, factor):
    found = read_fractions(f"phase;wt%;{head}\niron;60;3\nmagnetite;40;3")
    assert [row.esd for row in found.rows] == pytest.approx([0.03 / factor] * 2)
    assert ("EXT_SPREAD" in [r.code for r in found.remarks]) == (factor != 1)


@pytest.mark.parametrize("word", ["sum", "Total", "Summe", "Σ"])
def test_a_line_with_the_sum_is_no_phase(word):
    found = read_fractions(f"iron 60(1)\nmagnetite 40(1)\n{word} 100")
    assert [row.phase for row in found.rows] == ["iron", "magnetite"]
    assert found.remarks == ()
