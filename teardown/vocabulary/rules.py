"""Pure rules of words: which lists the laboratory may extend, and which words the computations rest on."""

import re
import unicodedata

FIXED = frozenset({"component", "role", "confidence"})  # lists that are the same in every laboratory
MOST_ANSWERS = 9  # what fits a card at the bench and is still found without reading

RELIED_ON = frozenset(
    {
        "opening.opened",
        "mass.received_g",
        "mass.cleaned_g",
        "part.mass_g",
        "dry.mass_g",
        "dry.how",
        "loss.named_g",
        "sediment.mass_mg",
        "iron.thickness_um",
        "cut.cut",
        "electrolyte.tare_g",
        "electrolyte.gross_g",
        "electrolyte.blots_g",
        "electrolyte.density",
        "titration.acid_mol_L",
        "titration.aliquot_mL",
        "titration.first_mL",
        "titration.made_up_mL",
        "titration.sample_mL",
        "titration.second_mL",
        "mode.undetermined",
        "reason.other",
        "reason.wrong_cell",
        "artefact.water",
    }
)


def may_be_retired(kind: str, key: str) -> str:
    """Say why a term cannot be retired, or nothing if it can."""
    if kind in FIXED:
        return "This list is the same in every laboratory; its words can be changed, not its entries."
    if key in RELIED_ON:
        return "Numbers or rules of the application rest on this entry; its words can be changed."
    return ""


def slug(words: str) -> str:
    """Make the part of a key from words: plain letters, digits and underscores."""
    plain = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:30] or "term"
