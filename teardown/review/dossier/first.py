"""The first page: what asks for a person today, and what came last; and the search over everything."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from teardown.cells.models import Cell, FormerCode, Recipe
from teardown.cells.rules import fold
from teardown.dissection.models import Order, Sample
from teardown.files.models import Run
from teardown.page.navigation import address
from teardown.page.typesetting import as_count
from teardown.records.models import Record
from teardown.review.dossier.chain import Told, gathered, told
from teardown.review.models import STATES, KeptView, key_of, reached
from teardown.vocabulary.models import Term


@dataclass(frozen=True, slots=True)
class Ask:
    """Something that waits for a person."""

    count: int
    words: str
    href: str


@dataclass(frozen=True, slots=True)
class FirstPage:
    """What the first page shows."""

    sentence: str
    states: tuple[tuple[str, int, str], ...]
    asks: tuple[Ask, ...]
    lately: tuple[tuple[Told, int], ...]
    views: tuple[KeptView, ...]


def first_page(*, user: Any, now: dt.datetime) -> FirstPage:
    """Collect what there is, what waits and what came last."""
    cells = Cell.objects.visible_to(user)
    counts = cells.aggregate(**{key_of(s): Count("pk", filter=reached(s)) for s in STATES})
    built = counts["is_built"]
    running, opened = counts["is_on_test"] - counts["is_ended"], counts["is_opened"]
    sentence = "No cell is in the books yet. Import recipes and cells to begin."
    if built:
        sentence = (
            f"{as_count(built, 'cell')} {'is' if built == 1 else 'are'} in the books; {running} on test now, "
            f"{opened} opened, {counts['is_judged']} judged."
        )
    states = tuple((s, counts[key_of(s)], f"{address('cells')}?state={s.replace(' ', '+')}") for s in STATES)
    records = Record.objects.select_related("actor").order_by("-seq")[:80] if user.may("records.read") else []
    return FirstPage(
        sentence,
        states,
        tuple(_asks(cells, now)),
        tuple(gathered(told(records, user), 10)),
        tuple(KeptView.objects.all()[:8]),
    )


def _asks(cells: QuerySet[Cell], now: dt.datetime) -> list[Ask]:
    cells_at = address("cells")
    waiting = cells.filter(reached("ended"), ~reached("opened")).count()
    unjudged = cells.filter(reached("measured"), ~reached("judged")).count()
    unsigned = cells.filter(reached("judged"), ~reached("closed")).count()
    runs, nowhere = _runs(), f"{address('runs')}?state=failed"
    late = Order.objects.filter(state=Order.State.SENT, due_on__lt=now.date()).count()
    asks = [
        Ask(
            waiting,
            "ended and waiting for the bench",
            address("waiting") or f"{cells_at}?state=ended&not_state=opened",
        ),
        Ask(unjudged, "measured and not judged yet", f"{cells_at}?state=measured&not_state=judged"),
        Ask(unsigned, "judged and not closed yet", f"{cells_at}?state=judged&not_state=closed"),
        Ask(late, "results overdue from a technique", address("samples")),
        Ask(runs["refused"], "computations need something first, and say what", nowhere),
        Ask(runs["broken"], "computations broke off", nowhere),
        Ask(runs["going"], "computations under way", ""),
    ]
    return [ask for ask in asks if ask.count]


def _runs() -> dict[str, int]:
    """Count the runs under way, and those that came to nothing and were not followed by another since."""
    later = Run.objects.filter(
        function=OuterRef("function"), subject=OuterRef("subject"), pk__gt=OuterRef("pk")
    )
    failed = Q(state=Run.State.FAILED) & ~Exists(later)
    return Run.objects.exclude(state=Run.State.DONE).aggregate(
        refused=Count("pk", filter=failed & Run.SAYS_WHY),
        broken=Count("pk", filter=failed & ~Run.SAYS_WHY),
        going=Count("pk", filter=~Q(state=Run.State.FAILED)),
    )


@dataclass(frozen=True, slots=True)
class Hit:
    """One thing found."""

    kind: str
    name: str
    words: str
    href: str


def search(text: str, *, user: Any, most: int = 30) -> list[Hit]:
    """Find cells, recipes, samples and terms that hold every word of the text, however typed."""
    words = fold(text).split()
    if not words:
        return []
    cells = Cell.objects.visible_to(user).select_related("build__revision__recipe")
    recipes, terms = Recipe.objects.all(), Term.objects.filter(retired_at=None)
    sees = user.may("recipes.see")
    for word in words:
        cells = cells.filter(search_text__contains=word) if sees else cells.filter(_called(word))
        recipes = recipes.filter(Q(code__icontains=word) | Q(title__icontains=word))
        terms = terms.filter(words__icontains=word)
    samples = Sample.objects.filter(code__istartswith=words[0]).select_related("part__dissection__cell")
    hits = [
        Hit("cell", c.code, str(c.build.revision) if sees else "", c.get_absolute_url()) for c in cells[:most]
    ]
    if sees:
        hits += [
            Hit("recipe", r.code, r.title, f"{address('cells')}?recipe={r.code}") for r in recipes[:most]
        ]
    hits += [Hit("sample", s.code, s.purpose or s.place, _where(s)) for s in samples[:most]]
    modes = [t for t in terms[:most] if t.kind == Term.Kind.MODE]
    return hits + [Hit("failure mode", t.words, "", f"{address('cells')}?mode={t.key}") for t in modes]


def _called(word: str) -> Q:
    """Ask for a code, or a code that the cell bore before."""
    former = FormerCode.objects.filter(cell=OuterRef("pk"), code__icontains=word)
    return Q(code__icontains=word) | Q(Exists(former))


def _where(sample: Sample) -> str:
    own = address("sample", sample.code)
    part = sample.part
    return own or (f"{part.dissection.cell.get_absolute_url()}#sampled" if part else "")
