"""What the fields of a sample, and the samples of an electrode, gave together."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet, Subquery

from teardown.dissection.models import Sample
from teardown.imaging.dossier.drawings import pooled_profile_figure
from teardown.imaging.dossier.layers import LayerRow, pooled_rows
from teardown.imaging.dossier.numbers import HEADLINE, Shown, shown_of
from teardown.imaging.models import SampleMeasure
from teardown.imaging.rules import by_a_person
from teardown.page.figures import Figure


@dataclass(frozen=True, slots=True)
class Pool:
    """What fields or samples gave together, with the run that pooled them."""

    shown: tuple[Shown, ...]
    run: int
    n: int
    fields_needed: int | None = None
    between: str = ""
    by_hand: str = ""
    layers: Figure | None = None
    layer_rows: tuple[LayerRow, ...] = ()

    @classmethod
    def of(cls, rows: Sequence[SampleMeasure]) -> "Pool | None":
        """Gather the rows of one pooling run; None where there are none."""
        if not rows:
            return None
        details = rows[0].details
        spread = next(
            (row.details.get("between_samples") for row in rows if row.quantity == "porosity"), None
        )
        return cls(
            shown=tuple(one for key, one in shown_of(rows) if key in HEADLINE),
            run=rows[0].run_id,
            n=max(row.n for row in rows),
            fields_needed=details.get("fields_needed"),
            between="" if spread is None else f"{spread * 100:.2g}",
            by_hand=by_a_person(details.get("levels", [])),
            layers=pooled_profile_figure(details.get("layers") or []),
            layer_rows=pooled_rows(details.get("layers") or []),
        )


def pools_of(sample: Sample | None) -> tuple[Pool | None, Pool | None]:
    """Give the latest pool of a sample's fields, and of the samples of its electrode."""
    if sample is None:
        return None, None
    origin = sample.origin
    whole = _latest(SampleMeasure.objects.filter(part=origin)) if origin else []
    return Pool.of(_latest(SampleMeasure.objects.filter(sample=sample))), Pool.of(whole)


def _latest(rows: QuerySet[SampleMeasure]) -> list[SampleMeasure]:
    newest = rows.order_by("-run_id").values("run_id")[:1]
    return list(rows.filter(run=Subquery(newest)).order_by("pk"))
