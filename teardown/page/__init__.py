"""What pages share, without tables: numbers typed and set, estimates, figures, tags, forms, typefaces.

How to use the pieces
---------------------
Numbers typed in
    ``from teardown.page.fields import NumberField``, then ``NumberField(label="Iron mass", unit="g",
    above=0)``. Comma or point; refusals are sentences. ``cleaned_data`` holds a float that still knows
    ``.text`` as typed (keep that in records). Outside forms: ``numbers.read_number(text)``.

Numbers shown
    ``{% load page %}``; in Python the same things are in `typesetting`.
    ``{% estimate e "oxide coverage" percent=True href=url limit="oxide below 0.4 µm is not seen" %}`` sets
    it large with interval and n; ``shape="line"`` in a sentence, ``shape="cell"`` in a table; None says
    "not measured".
    Filters: ``chemistry`` (Bi2S3), ``num``, ``unit:"g"``, ``percent``, ``day``, ``short_day``, ``moment``,
    ``duration``, ``counted:"field"``.

Figures
    Described with `teardown.page.figures`, drawn by ``{% figure description caption="…" %}``.

Lists
    ``{% sort_head "code" "cell" %}`` in place of a ``<th>``; ``<table class="table">``; class ``number`` on
    cells that hold numbers; ``{% include "page/_pages.html" with page=page request=request only %}`` turns
    pages.

Forms
    ``<form class="form">{{ form }}`` draws labels, help, units and errors. ``<div class="buttons">`` holds
    ``<button>``, class ``strong`` for the one deed of the page, ``quiet`` for a link-like one, ``grave``
    for one that takes something away. A filter: ``<form class="filter">``.

The grammar of a page
    ``{% extends "base.html" %}``; blocks: title, heading, sentence, aside, content (or main for all of it),
    styles, scripts, wide (put "wide" in it). Every page opens with a heading and one plain sentence.
    A part: ``<section class="part" id="opened" aria-labelledby="opened-head">`` with ``<div
    class="part-head"><h2 id="opened-head">Opened</h2><p>31 photographs</p></div>``.
    Columns: ``columns`` (7 to 6), ``columns even``, ``columns thirds``, ``columns beside`` (narrow left).
    Facts: ``<dl class="facts"><div><dt>…</dt><dd>…</dd></div></dl>``.
    Photographs: ``<div class="photographs"><figure class="photograph"><img><figcaption>``.
    What asks for a person: ``<span class="flag">``. Pieces: ``page/_caution.html``, ``_empty.html``,
    ``_waiting.html``, ``_refused.html``, ``_strip.html``, ``_flags.html``; each names its context in its
    first line.

Style by class only: the content security policy lets no inline style or script through.
"""
