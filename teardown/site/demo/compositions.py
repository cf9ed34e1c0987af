"""What the plates of invented cells are made of, and how a diffractometer or a colleague writes it down.

Knows no Django.
"""

from teardown.science.crystallography.parameters import Optics
from teardown.science.crystallography.phantoms import PowderPhantom, powder_pattern
from teardown.site.demo.lives import Story

OPTICS = Optics(U=0.002, V=-0.001, W=0.003, X=0.02, Y=0.01)  # of the laboratory's own instrument
HERE = 0.16  # share of the samples that are measured on the laboratory's own tube
CONTRADICTS = 0.07
IRON_IN = {"iron": 1.0, "magnetite": 0.7236, "iron-hydroxide": 0.6215, "goethite": 0.6285}
OXIDE = {
    "unreduced_oxide": 0.62,
    "passivation": 0.38,
    "additive_depletion": 0.36,
    "pore_closure": 0.22,
    "hydrogen": 0.18,
}


def composition(story: Story) -> dict[str, float]:
    """Give the mass fractions of the dry plate as it was when its test stopped."""
    chance = story.rng("composition")
    charged = story.state_at_stop == "charged"
    oxide = OXIDE.get(story.root, 0.42)
    oxide = 0.08 + (oxide - 0.08) * story.severity * (0.35 if charged else 1.0)
    if not charged:  # at least what the last discharge made of about 0.72 Ah per gram of oxide must be there
        oxide = max(oxide, 0.5 * story.capacity_Ah / 1.2)
    if story.rng("contradiction").random() < CONTRADICTS:
        oxide = 0.72  # the plate stood in air before it was ground: sections and patterns will not agree
    oxide *= float(chance.normal(1, 0.06))
    magnetite = oxide * float(chance.uniform(0.25, 0.5))
    phases = {"magnetite": magnetite, "iron-hydroxide": oxide - magnetite}
    if "bismuth" in story.formula.additive:
        phases["bismuth"] = 0.82 * story.formula.share
    if "zinc" in story.formula.additive:
        phases["wurtzite"] = 0.6 * story.formula.share
    if chance.random() < 0.3:
        phases["goethite"] = float(chance.uniform(0.008, 0.03))
    return {"iron": 1 - sum(phases.values())} | phases


def dry_mass_g(story: Story, *, iron_g: float, inert_g: float, shed_g: float) -> float:
    """Give the mass of the dry plate: the iron built in, less what was shed, as the phases it became."""
    phases = composition(story)
    iron_share = sum(fraction * IRON_IN.get(phase, 0.0) for phase, fraction in phases.items())
    return (iron_g * 0.995 - shed_g) / iron_share + inert_g + float(story.rng("dry").normal(0, 0.004))


def measured_here(story: Story) -> bool:
    """Tell whether the pattern of a cell is measured on the laboratory's own tube."""
    return bool(story.rng("tube").random() < HERE)


def result(story: Story) -> bytes:
    """Draw a pattern as the diffractometer writes it, or a table as the colleague's mail has it."""
    phases, chance = composition(story), story.rng("esd")
    if measured_here(story):
        return _columns(
            powder_pattern(
                phases, anode="co", highest=9000, range_deg=(20.0, 100.0, 0.03), optics=OPTICS,
                seed=story.seed % 9999,
            )
        )  # fmt: skip
    lines = ["phase,wt%,esd"]
    for phase, fraction in phases.items():
        esd = max(0.2, 1.6 * fraction**0.5)
        seen = max(0.1, 100 * fraction + float(chance.normal(0, esd)))
        lines.append(f"{phase.replace('-', ' ')},{seen:.1f},{esd:.1f}")
    return "\n".join([*lines, ""]).encode()


def standard() -> bytes:
    """Draw the scan of coarse silicon, from which the instrument's own line shape is taken."""
    return _columns(
        powder_pattern(
            {"silicon": 1.0}, anode="co", highest=40_000, range_deg=(20.0, 120.0, 0.03), optics=OPTICS,
            sizes_nm={"silicon": 5000.0}, seed=12,
        )
    )  # fmt: skip


def _columns(drawn: PowderPhantom) -> bytes:
    rows = zip(drawn.two_theta_deg, drawn.counts, strict=True)
    return "".join(f"{angle:.3f} {counts:.0f}\n" for angle, counts in rows).encode()
