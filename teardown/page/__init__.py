"""What pages share, without tables: numbers typed and set, estimates, figures, tags, forms, typefaces.

How to use the pieces
---------------------
**Numbers typed in.** ``from teardown.page.fields import NumberField``;
``NumberField(label="Iron mass", unit="g", above=0)``. Comma or point; refusals are sentences; ``cleaned_data`` holds
a float that still knows ``.text`` as typed (store it in records). Outside forms: ``numbers.read_number(text)``.

**Numbers shown.** ``{% load page %}`` (`templatetags.page`), or `typesetting` in Python:
``{% estimate e "oxide coverage" percent=True href=url limit="oxide thinner than 0.4 µm is not seen" %}`` large, with
interval and n; ``style="line"`` within a sentence, ``style="cell"`` in a table; None says "not measured".
Filters: ``chemistry`` (Bi2S3), ``num``, ``unit:"g"``, ``percent``, ``day``, ``short_day``, ``moment``, ``duration``,
``counted:"field"``.

**Figures.** See `teardown.page.figures`. ``{% figure description caption="…" %}`` on a page.

**Lists.** ``{% sort_head "code" "cell" %}`` instead of ``<th>``; table classes: ``table`` (rules between rows),
``number`` on cells with numbers. ``{% include "page/_pages.html" with page=page only %}`` for turning pages.

**Forms.** ``{{ form }}`` inside ``<form class="form">``: the project's renderer draws labels, help, units, errors.
Buttons: ``<button class="button">``, ``button strong`` for the one deed of the page, ``button quiet`` for a link-like
one. Groups: ``<div class="buttons">``.

**Page grammar.** Extend ``base.html`` (blocks: title, sentence, aside, main, scripts; ``{% block wide %}wide{% endblock %}``
for a wide page). Every page opens with ``<h1>`` and one ``<p class="sentence">``. A part of a page is
``<section class="part" id="…" aria-labelledby="…">`` with ``<div class="part-head"><h2>…</h2><p>…</p></div>``.
Two columns: ``columns`` (7:6), ``columns even``. Facts: ``<dl class="facts">`` with ``<div><dt/><dd/></div>``.
Photographs: ``<figure class="photograph"><img><figcaption>``; a row of them: ``<div class="photographs">``.
Words that ask for a person: ``<span class="flag">``. Cautions: ``page/_caution.html``. Nothing there yet, waiting,
refused: ``page/_empty.html``, ``page/_waiting.html``, ``page/_refused.html``. Strip of states: ``page/_strip.html``.

Style by class only: the content security policy lets no inline style or script through.
"""
