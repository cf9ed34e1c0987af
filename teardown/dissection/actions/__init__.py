"""What is done at the bench. Each deed takes keywords, checks first, writes one Record.

``at`` tells a deed of the past by its own time.

How to use them
---------------
::

    from teardown.dissection import actions as bench

    bench.make_plan(cell=cell, by=analyst, questions=["Where did the capacity go?"], items=[
        {"component": "iron_electrode", "technique": "section", "place": "M2"}])
    dissection = bench.start_dissection(cell=cell, by=chemist, at=monday)
    session = bench.begin_session(by=chemist, place="hood 2", at=monday)
    bench.show_cautions(dissection=dissection, step="open", by=chemist, read=True, at=monday)
    bench.log_entry(dissection=dissection, term="mass.received_g", value="41,18", by=chemist, at=monday)
    bench.open_cell(dissection=dissection, by=chemist, at=monday)                  # time zero
    bench.log_entries(dissection=dissection, by=chemist, session=session, at=later, items=[
        {"term": "iron.colour", "answer": "green", "place": "A.M2", "certainty": "sure"},
        {"term": "iron.cover", "state": "present", "extent": "some", "place": "A.M2"},
        {"term": "separator.growth", "state": "absent"},
        {"term": "part.mass_g", "value": 3.41, "component": "iron_electrode"},
        {"term": "warm.noticed", "state": "not done", "not_done": "no_time"}])     # -> list of Outcome
    bench.all_the_same(dissection=dissection, term="iron.texture", answer="hard_plate", by=chemist, at=later)
    photograph = bench.add_photograph(file=jpeg_bytes, name="0231.jpg", dissection=dissection, by=chemist)
    bench.label_photograph(photograph=photograph, component="iron_electrode", place="A.M2", by=chemist)
    bench.fix_electrode(photograph=photograph, corners=[(.2, .1), (.8, .12), (.79, .9), (.21, .88)], face="A",
                        by=chemist)
    bench.mark_place(photograph=photograph, x=.5, y=.5, by=chemist)             # its address, read off
    bench.add_audio_note(file=webm_bytes, dissection=dissection, gist="gas at the seal", by=chemist)
    sample = bench.cut_sample(dissection=dissection, component="iron_electrode", place="M2", by=chemist)
    bench.outline_piece(sample=sample, photograph=photograph, by=chemist,
                        points=[(.4, .4), (.6, .4), (.5, .6)])
    bench.hand_over(sample=sample, to_place="desiccator 1", by=chemist)
    mount = bench.mount_samples(samples=[(sample, "across, air face up")], by=chemist)
    section = bench.polish(mount=mount, by=operator,
                           stages=[{"abrasive": "diamond", "size_um": 1, "lubricant": "ethanol"}])
    order, = bench.send_orders(samples=[sample], technique="diffraction", by=chemist)
    bench.receive_order(order=order, by=operator)
    bench.amend(entry=entry, reason="misread", answer="white", by=chemist)
    bench.close(dissection=dissection, by=chemist, answer="1.2 g stayed in the tissue")

Terms are the fields of ``vocabulary/terms/observations.json``. An observation not dated by ``observed_at``
is dated ``at``. Photographs are kept outside of any transaction. A refusal is a ValidationError with
sentences, or PermissionDenied with who may.
"""

from teardown.dissection.actions.closing import acknowledge, close, is_closed, review
from teardown.dissection.actions.entries import (
    Outcome,
    all_the_same,
    amend,
    confirm,
    log_entries,
    log_entry,
    move,
    withdraw,
)
from teardown.dissection.actions.instruments import add_instrument, carry_over, check_instrument
from teardown.dissection.actions.items import Item
from teardown.dissection.actions.marks import fix_electrode, mark_place, outline_piece, place_of_outline
from teardown.dissection.actions.opening import (
    assign,
    begin_session,
    cautions_of,
    end_session,
    leave_out,
    make_plan,
    open_cell,
    revise_caution,
    show_cautions,
    start_dissection,
    unblind,
)
from teardown.dissection.actions.photographs import add_photograph, label_photograph
from teardown.dissection.actions.reading import Unusual
from teardown.dissection.actions.samples import (
    cut_sample,
    hand_over,
    mount_samples,
    part_of,
    polish,
    receive_order,
    send_orders,
)
from teardown.dissection.actions.sound import add_audio_note, type_gist

__all__ = [
    "Item",
    "Outcome",
    "Unusual",
    "acknowledge",
    "add_audio_note",
    "add_instrument",
    "add_photograph",
    "all_the_same",
    "amend",
    "assign",
    "begin_session",
    "carry_over",
    "cautions_of",
    "check_instrument",
    "close",
    "confirm",
    "cut_sample",
    "end_session",
    "fix_electrode",
    "hand_over",
    "is_closed",
    "label_photograph",
    "leave_out",
    "log_entries",
    "log_entry",
    "make_plan",
    "mark_place",
    "mount_samples",
    "move",
    "open_cell",
    "outline_piece",
    "part_of",
    "place_of_outline",
    "polish",
    "receive_order",
    "review",
    "revise_caution",
    "send_orders",
    "show_cautions",
    "start_dissection",
    "type_gist",
    "unblind",
    "withdraw",
]
