"""A begun dissection, a small picture, and what a tablet sends."""

import csv
import datetime as dt
import io
import json
import uuid

from django.urls import reverse

from teardown.dissection import actions as bench
from tests import makers

PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108060000001f15c4890000000d49444154789c6360606060000000"
    "050001a5f645400000000049454e44ae426082"
)


def long_built(code):
    """Make a cell that was built before the application was there."""
    build = makers.make_build()
    build.built_on = dt.date(2020, 1, 1)
    build.save()
    return makers.make_cell(code, build=build)


def table(*rows):
    """Write rows as a table with semicolons."""
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows(rows)
    return out.getvalue().encode()


def ended(code, chemist, revision=None):
    """Make a cell whose dissection was begun, built long enough ago for the clock of this machine."""
    build = makers.make_build(revision)
    build.built_on = dt.date(2020, 1, 1)
    build.save()
    made = makers.make_cell(code, build=build)
    makers.make_test(made, end="capacity_limit")
    bench.start_dissection(cell=made, by=chemist)
    return made


def keep(client, *items):
    """Send items as the queue of a tablet does; give the answers."""
    response = client.post(
        reverse("bench_keep"), json.dumps({"items": items}), content_type="application/json"
    )
    assert response.status_code == 200, response.content
    return response.json()["answers"]


def item(term="mass.received_g", kind="entry", cell="SP-0413", **said):
    """Make an item of a queue."""
    return {"key": str(uuid.uuid4()), "kind": kind, "cell": cell, "said": {"term": term} | said}
