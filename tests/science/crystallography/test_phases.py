"""The phase table: every phase is what it says it is, and a name finds one phase or is refused."""

import pytest

from teardown.science.crystallography.phases import (
    AmbiguousPhase,
    NoPhases,
    UnknownPhase,
    choose,
    phase_table,
)

TABLE = phase_table()
# Densities in g/cm3 as the database entries state them from which the structures were read (American
# Mineralogist Crystal Structure Database, seen): an independent computation from the same cell and atoms.
ENTRY_DENSITY = {
    "maghemite": 4.864, "hematite": 5.271, "goethite": 4.274, "akaganeite": 3.687, "feroxyhyte": 4.293,
    "iron-hydroxide": 3.525, "wuestite": 5.742, "mackinawite": 4.299, "troilite": 4.835, "greigite": 4.079,
    "siderite": 3.944, "chukanovite": 3.678, "cementite": 7.699, "potassium-carbonate": 2.435,
    "kalicinite": 2.169, "sylvite": 1.987, "nickel": 8.909, "nickel-hydroxide": 3.961, "graphite": 2.261,
    "pyrolusite": 5.204, "calcite": 2.709, "bismuth": 9.808, "bismite": 9.374, "bismuthinite": 6.807,
    "sphalerite": 4.090, "wurtzite": 4.128, "fluorite": 3.181, "silicon": 2.329, "rutile": 4.249,
    "ceria": 7.216, "eskolaite": 5.235, "quartz": 2.649, "brucite": 2.377, "zircon": 4.668, "silver": 10.501,
    "copper": 8.935, "magnetite": 5.195, "iron": 7.875, "ferrihydrite": 4.770, "lanthanum-hexaboride": 4.710,
}  # fmt: skip


@pytest.mark.parametrize("key", ENTRY_DENSITY)
def test_the_density_is_that_of_its_entry_within_one_percent(key):
    assert TABLE[key].density_g_cm3 == pytest.approx(ENTRY_DENSITY[key], rel=0.01)


@pytest.mark.parametrize("phase", TABLE.phases.values(), ids=lambda p: p.key)
def test_the_density_is_near_the_handbook_or_says_why_not(phase):
    low, high = phase.handbook_density_g_cm3  # handbook ranges from memory, as the table says
    near = 0.97 * low <= phase.density_g_cm3 <= 1.03 * high
    assert near or phase.density_reason


@pytest.mark.parametrize("phase", TABLE.phases.values(), ids=lambda p: p.key)
def test_the_atoms_make_up_the_formula(phase):
    periodictable = pytest.importorskip("periodictable")
    known_to_differ = {
        "akaganeite",
        "ferrihydrite",
        "green-rust-chloride",
    }  # hydrogen or water not in the entry
    if phase.key in known_to_differ:
        pytest.skip("the entry has no hydrogen for it, as its notes say")
    expected = periodictable.formula(phase.formula).mass
    assert phase.molar_mass == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("phase", TABLE.phases.values(), ids=lambda p: p.key)
def test_every_fact_says_whether_its_source_was_seen(phase):
    for source in (phase.cell_source, phase.coordinates_source, phase.displacement_source):
        assert source.status in {"seen", "memory"}
        assert len(source.text) > 10
    assert ("memory" in phase.displacement_source.text) == (phase.displacement_source.status == "memory")


def test_keys_names_and_synonyms_never_clash():
    names: dict[str, str] = {}
    for key, phase in TABLE.phases.items():
        for name in {key, phase.name, *phase.synonyms}:
            assert names.setdefault(name.casefold(), key) == key
            assert TABLE.key_of(name) == key


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Fe", "iron"), ("Alpha-Iron", "iron"), ("Fe3O4", "magnetite"), ("Fe(OH)2", "iron-hydroxide"),
        ("iron_hydroxide", "iron-hydroxide"), ("White Rust", "iron-hydroxide"), ("α-Fe2O3", "hematite"),
        ("K2CO3", "potassium-carbonate"), ("CaF2", "fluorite"), ("Alumina", "corundum"),
    ],
)  # fmt: skip
def test_common_names_find_their_phase(name, key):
    assert TABLE.key_of(name) == key


@pytest.mark.parametrize(
    ("name", "both"), [("ferrite", "iron, spinel"), ("FeOOH", "goethite"), ("FeS", "troilite")]
)
def test_a_name_with_two_meanings_is_refused_with_both(name, both):
    with pytest.raises(AmbiguousPhase, match=both):
        TABLE.key_of(name)


def test_a_misspelt_name_is_refused_with_what_is_near():
    with pytest.raises(UnknownPhase, match="Near it: magnetite"):
        TABLE.key_of("magnitite")


@pytest.mark.parametrize("names", [[], ["", "  "]])
def test_an_empty_list_is_refused(names):
    with pytest.raises(NoPhases, match="at least one"):
        choose(names)


def test_the_spinel_gains_iron_with_its_cell():
    spinel = TABLE["spinel"]
    tie = spinel.tie
    full = spinel.with_cell((8.3969,) * 3 + (90.0,) * 3)
    empty = spinel.with_cell((8.30,) * 3 + (90.0,) * 3)
    assert full.atoms_per_cell["Fe"] == pytest.approx(24)
    # gamma-Fe2O3 holds 21 1/3 Fe on 32 O: Cornell & Schwertmann, The Iron Oxides, from memory
    assert empty.atoms_per_cell["Fe"] == pytest.approx(64 / 3, abs=1e-4)
    assert tie.share(8.3457) == 0
    assert tie.share(8.3969) == 1


def test_listing_the_table_does_not_load_the_crystallographic_library():
    import subprocess
    import sys

    code = (
        "import sys; from teardown.science.crystallography.phases import phase_table; phase_table(); "
        "assert 'gemmi' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


@pytest.mark.parametrize("name", ["PTFE", "K2CO3·1.5H2O", "koh", "LiOH·H2O"])
def test_what_has_no_structure_here_is_refused_with_the_reason(name):
    with pytest.raises(UnknownPhase, match=r"No source of its structure|one line near"):
        TABLE.key_of(name)
