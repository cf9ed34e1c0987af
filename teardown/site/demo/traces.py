"""What each failure mode leaves to be seen when a cell is opened. Pure, and invented.

What is seen is ``(term, answer or state, extent)``, with the states of the bench.
"""

from dataclasses import dataclass

from teardown.site.demo.lives import Story

Seen = tuple[str, str, str]
PRESENT, ABSENT = "present", "absent"


@dataclass(frozen=True, slots=True)
class Traces:
    """What is there to be seen of a cell, beside what every cell shows."""

    colour: str = "dark_grey"
    texture: str = "hard_plate"
    cover: str = "some"
    shape: str = "flat"
    adhesion: str = "firm"
    iron: tuple[Seen, ...] = ()
    elsewhere: tuple[Seen, ...] = ()
    sediment_mg: float = 4.0
    electrolyte: str = "colourless"
    lost_g: float = 0.25
    carbonate: float = 0.02
    thicker: float = 0.04


MARKS: dict[str, Traces] = {
    "passivation": Traces(
        colour="black_matte", cover="much", iron=(("iron.film_green", PRESENT, "some"),), thicker=0.05
    ),
    "pore_closure": Traces(
        colour="metallic", texture="dense_skin", cover="trace", shape="bowed_a", thicker=-0.03,
        iron=(("iron.magnet", "strong", ""),),
    ),
    "unreduced_oxide": Traces(
        colour="ochre", texture="layered", cover="nearly all", shape="swollen", thicker=0.17,
        iron=(("iron.film_green", PRESENT, "much"), ("iron.magnet", "weak", "")),
    ),
    "additive_depletion": Traces(colour="dark_grey", texture="friable", cover="much"),
    "shedding": Traces(
        colour="mixed", texture="powder", cover="some", shape="thinning", adhesion="fallen", sediment_mg=118,
        iron=(("iron.shed", PRESENT, "some"), ("iron.mesh_bare", PRESENT, "some")),
        elsewhere=(("separator.deposit", PRESENT, "some"), ("sediment.kind", "black_magnetic", "")),
    ),
    "hydrogen": Traces(
        colour="metallic", cover="trace", lost_g=0.9,
        elsewhere=(("separator.gas", PRESENT, "some"), ("opening.bubbling", "slow", "")),
    ),
    "flooding": Traces(
        elsewhere=(("air.gas_side", "flooded", ""), ("vent.look", "damp", ""), ("air.crust", ABSENT, ""))
    ),
    "carbon_corrosion": Traces(
        electrolyte="amber",
        elsewhere=(("air.wet_side", "cracks", ""), ("air.catalyst_lost", PRESENT, "some")),
    ),
    "carbonate_blocking": Traces(
        carbonate=0.16,
        elsewhere=(
            ("air.crust", PRESENT, "much"), ("air.gas_side", "crust", ""), ("air.wet_side", "crystals", ""),
        ),
    ),
    "contact_loss": Traces(
        adhesion="peels", elsewhere=(("tab.look", "loose", ""), ("collector.look", "corroded_green", ""))
    ),
    "leak": Traces(
        lost_g=1.1,
        elsewhere=(
            ("arrival.crust", "ring", ""), ("leak.seal", "strongly_alkaline", ""),
            ("seal.look", "crystals", ""),
        ),
    ),
    "short": Traces(
        elsewhere=(
            ("separator.state", "pinhole", ""), ("separator.growth", PRESENT, "trace"),
            ("separator.stain", "both", ""),
        ),
    ),
}  # fmt: skip
NOTHING = Traces(cover="trace")
USUAL: tuple[Seen, ...] = (
    ("arrival.crust", ABSENT, ""),
    ("leak.seal", "neutral", ""),
    ("leak.terminals", "neutral", ""),
    ("opening.gas", ABSENT, ""),
    ("opening.smell", ABSENT, ""),
    ("opening.bubbling", ABSENT, ""),
    ("separator.state", "intact", ""),
    ("separator.growth", ABSENT, ""),
    ("separator.deposit", ABSENT, ""),
    ("separator.gas", ABSENT, ""),
    ("separator.stain", "iron_side", ""),
    ("collector.look", "dull", ""),
    ("tab.look", "firm", ""),
    ("air.gas_side", "dry", ""),
    ("air.wet_side", "even", ""),
    ("air.crust", ABSENT, ""),
    ("seal.look", "dry", ""),
    ("vent.look", "dry", ""),
    ("sediment.kind", ABSENT, ""),
    ("iron.shed", ABSENT, ""),
    ("iron.film_green", ABSENT, ""),
    ("iron.mesh_bare", ABSENT, ""),
    ("iron.magnet", "strong", ""),
)


def traces_of(story: Story) -> Traces:
    """Give what the root of a cell left; little, where the root had hardly begun when the test stopped."""
    if story.severity < 0.5 and story.censored:
        return NOTHING
    return MARKS.get(story.root, NOTHING)


def seen_of(story: Story) -> dict[str, Seen]:
    """Give what is there to be seen, by its term: the usual, then what contributed, then the root."""
    seen = {each[0]: each for each in USUAL}
    for mode in story.contributing:
        mark = MARKS.get(mode)
        if mark is not None and story.rng(f"trace {mode}").random() < 0.5:
            seen |= {each[0]: each for each in mark.elsewhere}
    own = traces_of(story)
    return seen | {each[0]: each for each in (*own.iron, *own.elsewhere)}
