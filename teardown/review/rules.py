"""Which numbers have a page on how they are made."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Method:
    """How a number is made: its page is ``templates/review/methods/<key>.html``."""

    key: str
    title: str
    group: str


_GROUPS = {
    "Cross sections": {
        "porosity": "Porosity",
        "oxide_fraction": "Oxide area fraction",
        "oxide_coverage": "Oxide coverage",
        "oxide_thickness": "Oxide thickness",
        "specific_surface": "Metal surface per volume",
        "pore_size": "Pore size",
        "pooling": "From fields to samples to electrodes",
    },
    "Cycling": {
        "capacity": "Capacity",
        "efficiency": "Efficiencies",
        "reference_capacity": "Reference capacity and utilisation",
        "fade": "Fade",
        "cycles_to_80": "Cycles to 80 %",
        "knee": "Knee",
        "resistance": "Resistance",
    },
    "Diffraction": {"phase_fraction": "Phase fractions", "amorphous_share": "Amorphous share"},
    "The bench": {
        "minutes_since_opening": "Minutes since opening",
        "titration": "Titration of the electrolyte",
    },
    "What it comes to": {
        "balance": "Where the capacity went",
        "rate": "Rates of failure modes",
        "lifetime": "Lifetimes",
        "confidence": "Confidence of a judgement",
    },
}
METHODS = {
    key: Method(key, title, group) for group, titles in _GROUPS.items() for key, title in titles.items()
}


def grouped() -> list[tuple[str, list[Method]]]:
    """Give the methods by what they measure, in a fixed order."""
    return [(group, [METHODS[key] for key in titles]) for group, titles in _GROUPS.items()]
