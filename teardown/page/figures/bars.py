"""Draws a `Waterfall` and `Stacks`: quantities as lengths, so their axes start at zero."""

from teardown.page.figures import svg
from teardown.page.figures.description import Axis, Bar, Share, Stack, Stacks, Waterfall
from teardown.page.figures.labels import LINE, SIZE, text_width
from teardown.page.figures.scales import Scale, scale_for, tick_words
from teardown.page.typesetting import number, with_unit

GAP = 14.0
THICK = 22.0
WIDEST = 84.0


def draw_waterfall(fall: Waterfall) -> str:
    """Draw a waterfall to an SVG element."""
    spans = _spans(fall.bars)
    column = fall.width / max(len(fall.bars), 1)
    lines = [_broken(bar.label, column - 8) for bar in fall.bars]
    foot = LINE * (max(map(len, lines), default=1) + 1) + 8
    edges = [v for (a, b), bar in zip(spans, fall.bars, strict=True) for v in (a, b, *_reach(bar, a))]
    scale, _ = scale_for(Axis(low=min(0.0, *edges), high=max(edges)), edges, fall.height - foot, 10.0)
    parts = [svg.straight(0, scale.at(0), fall.width, scale.at(0), "base")]
    for i, (bar, span) in enumerate(zip(fall.bars, spans, strict=True)):
        middle = (i + 0.5) * column
        if i:
            before = spans[i - 1][1]
            parts.append(
                svg.straight(
                    middle - column + _half(column),
                    scale.at(before),
                    middle - _half(column),
                    scale.at(before),
                    "step",
                )
            )
        parts.append(_bar(fall, bar, span, scale, middle, column))
        for j, line in enumerate(lines[i]):
            parts.append(svg.text(line, middle, fall.height - foot + LINE * (j + 1), "row-name", "middle"))
        parts.append(svg.text(_amount(fall, bar), middle, fall.height - 6, "row-note", "middle"))
    return svg.sheet(
        fall.title, fall.description, fall.width, fall.height, "".join(parts), data_figure="waterfall"
    )


def _spans(bars: tuple[Bar, ...]) -> list[tuple[float, float]]:
    spans, level = [], 0.0
    for bar in bars:
        start = 0.0 if bar.total else level
        level = bar.value if bar.total else level + bar.value
        spans.append((start, level))
    return spans


def _reach(bar: Bar, start: float) -> tuple[float, ...]:
    if bar.low is None or bar.high is None:
        return ()
    return start + bar.low, start + bar.high


def _half(column: float) -> float:
    return min(column * 0.8, WIDEST) / 2


def _bar(
    fall: Waterfall, bar: Bar, span: tuple[float, float], scale: Scale, middle: float, column: float
) -> str:
    top, bottom = sorted((scale.at(span[0]), scale.at(span[1])))
    half = _half(column)
    box = {"x": middle - half, "y": top, "width": 2 * half, "height": max(bottom - top, 1.0)}
    parts = [svg.title(f"{bar.label}: {_amount(fall, bar)}")]
    parts.append(svg.element("rect", class_="fill doubtful" if bar.bounds_only else "fill", **box))
    parts.append(
        svg.element("rect", class_=f"hatch hatch-{'doubt' if bar.bounds_only else bar.style}", **box)
    )
    for low, high in [_reach(bar, span[0])] if bar.low is not None and bar.high is not None else []:
        a, b = scale.at(low), scale.at(high)
        parts.append(
            svg.element(
                "path",
                d=f"M{middle:.1f} {a:.1f}V{b:.1f}M{middle - 4:.1f} {a:.1f}h8M{middle - 4:.1f} {b:.1f}h8",
                class_="whisker",
            )
        )
    return svg.group(parts, class_=f"bar {bar.style}")


def _amount(fall: Waterfall, bar: Bar) -> str:
    if bar.bounds_only and bar.low is not None and bar.high is not None:
        low, high = sorted((bar.low, bar.high), key=abs if bar.high <= 0 else None)
        return f"{number(low, fall.decimals)} to {number(high, fall.decimals)}"
    text = number(bar.value, fall.decimals)
    return with_unit(text, fall.unit) if bar.total else text


def _broken(label: str, room: float) -> list[str]:
    """Break a label into lines at its spaces."""
    lines: list[str] = []
    for part in label.split():
        if lines and text_width(f"{lines[-1]} {part}") <= room:
            lines[-1] += f" {part}"
        else:
            lines.append(part)
    return lines or [""]


def draw_stacks(stacks: Stacks) -> str:
    """Draw rows of shares to an SVG element, with the names of the shares as a key above."""
    start = min(max((text_width(r.label) for r in stacks.rows), default=0) + GAP, stacks.width * 0.4)
    end = stacks.width - max((text_width(r.note) for r in stacks.rows), default=0) - GAP
    totals = [sum(s.value for s in row.shares) for row in stacks.rows]
    axis = Axis(
        stacks.axis.label, 0.0, stacks.axis.high, percent=stacks.axis.percent, ticks=stacks.axis.ticks
    )
    scale, ticks = scale_for(axis, totals, start, end, 80)
    keys, top = _keys(stacks, start)
    rows = [_stack(stacks, row, scale, top + i * (THICK + 12)) for i, row in enumerate(stacks.rows)]
    bottom = top + len(rows) * (THICK + 12)
    grid = [svg.straight(scale.at(t), top - 4, scale.at(t), bottom, "hair") for t in ticks]
    words = [
        svg.text(w, scale.at(t), bottom + LINE, "tick", "middle")
        for t, w in zip(ticks, tick_words(ticks, axis), strict=True)
    ]
    height = bottom + LINE + (LINE + 8 if axis.label else 8)
    name = svg.text(axis.label, (start + end) / 2, height - 4, "axis-name", "middle") if axis.label else ""
    content = svg.group(grid + words, class_="axes") + keys + "".join(rows) + name
    return svg.sheet(stacks.title, stacks.description, stacks.width, height, content, data_figure="stacks")


def _keys(stacks: Stacks, start: float) -> tuple[str, float]:
    names = list(dict.fromkeys((s.name, s.style) for row in stacks.rows for s in row.shares))
    x, y, parts = start, SIZE, []
    for name, style in names:
        width = text_width(name) + 20 + GAP
        if x + width > stacks.width and x > start:
            x, y = start, y + LINE + 4
        swatch = {"x": x, "y": y - 10, "width": 12.0, "height": 12.0}
        parts.append(
            svg.group(
                [
                    svg.element("rect", class_="fill", **swatch),
                    svg.element("rect", class_=f"hatch hatch-{style}", **swatch),
                ],
                class_=f"bar {style}",
            )
        )
        parts.append(svg.text(name, x + 18, y, "row-name"))
        x += width
    return "".join(parts), y + 16


def _stack(stacks: Stacks, row: Stack, scale: Scale, y: float) -> str:
    parts, at = [svg.text(row.label, 0, y + THICK / 2 + SIZE * 0.33, "row-name")], 0.0
    for share in row.shares:
        parts.append(_share(stacks, share, at, scale, y))
        at += share.value
    if row.note:
        parts.append(svg.text(row.note, stacks.width, y + THICK / 2 + SIZE * 0.33, "row-note", "end"))
    return svg.group(parts, class_="row", data_key=row.key)


def _share(stacks: Stacks, share: Share, at: float, scale: Scale, y: float) -> str:
    left, right = scale.at(at), scale.at(at + share.value)
    box = {"x": left, "y": y, "width": max(right - left, 0.5), "height": THICK}
    said = with_unit(number(100 * share.value, 1), "%") if stacks.axis.percent else number(share.value)
    parts = [
        svg.title(f"{share.name}: {said}"),
        svg.element("rect", class_="fill", **box),
        svg.element("rect", class_=f"hatch hatch-{share.style}", **box),
    ]
    if share.low is not None and share.high is not None:
        middle, a, b = y + THICK / 2, scale.at(at + share.low), min(scale.at(at + share.high), scale.end)
        parts.append(svg.straight(a, middle, b, middle, "whisker"))
    return svg.group(parts, class_=f"bar {share.style}")
