"""Addresses of the bench, of samples, photographs, cautions and labels."""

from django.urls import path

from teardown.dissection.views import bench, cautions, entries, keep, photographs, samples

urlpatterns = [
    path("bench/", bench.bench, name="bench"),
    path("bench/begin/", bench.bench_begin, name="bench_begin"),
    path("bench/strip/", bench.bench_strip, name="bench_strip"),
    path("bench/worker.js", bench.worker, name="bench_worker"),
    path("bench/keep/", keep.keep, name="bench_keep"),
    path("bench/keep/photograph/", keep.keep_photograph, name="bench_keep_photograph"),
    path("bench/person/", keep.person, name="bench_person"),
    path("bench/<str:code>/", bench.bench_cell, name="bench_cell"),
    path("bench/<str:code>/sheet/", bench.bench_sheet, name="bench_sheet"),
    path("bench/<str:code>/plan/", bench.bench_plan, name="bench_plan"),
    path("bench/<str:code>/close/", bench.bench_close, name="bench_close"),
    path("bench/<str:code>/confirm/", bench.bench_confirm, name="bench_confirm"),
    path("bench/<str:code>/unblind/", bench.bench_unblind, name="bench_unblind"),
    path("bench/<str:code>/caution-read/", bench.caution_read, name="caution_read"),
    path("bench/<str:code>/cut/", samples.sample_cut, name="sample_cut"),
    path("bench/<str:code>/photograph/", photographs.photograph_add, name="photograph_add"),
    path("entries/<uuid:key>/", entries.entry, name="entry"),
    path("entries/<uuid:key>/amend/", entries.entry_amend, name="entry_amend"),
    path("entries/<uuid:key>/withdraw/", entries.entry_withdraw, name="entry_withdraw"),
    path("look-back/<str:term>/", entries.look_back_list, name="look_back"),
    path("look-back/<str:term>/<uuid:key>/", entries.look_back_at, name="look_back_at"),
    path("samples/", samples.samples, name="samples"),
    path("samples/read/", samples.sample_read, name="sample_read"),
    path("samples/<str:code>/", samples.sample, name="sample"),
    path("samples/<str:code>/hand-over/", samples.sample_hand_over, name="sample_hand_over"),
    path("samples/<str:code>/send/", samples.sample_send, name="sample_send"),
    path("samples/<str:code>/mount/", samples.sample_mount, name="sample_mount"),
    path("orders/<int:pk>/back/", samples.order_back, name="order_back"),
    path("mounts/<str:code>/polish/", samples.mount_polish, name="mount_polish"),
    path("labels/", samples.labels, name="labels"),
    path("photographs/", photographs.photographs, name="photographs"),
    path("photographs/<uuid:key>/", photographs.photograph, name="photograph"),
    path("photographs/<uuid:key>/<str:size>.jpg", photographs.photograph_picture, name="photograph_picture"),
    path("cautions/", cautions.cautions, name="cautions"),
    path("cautions/<str:key>/", cautions.caution, name="caution"),
]
