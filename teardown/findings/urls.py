"""Addresses of findings."""

from django.urls import path

from teardown.findings import views

urlpatterns = [
    path("modes/", views.modes, name="modes"),
    path("modes.csv", views.modes_csv, name="modes_csv"),
    path("ledgers/", views.ledgers, name="ledgers"),
    path("ledgers.csv", views.ledgers_csv, name="ledgers_csv"),
    path("waiting/", views.waiting, name="waiting"),
    path("waiting/hours/", views.bench_hours, name="bench_hours"),
    path("waiting/<str:code>/bench-time/", views.bench_time, name="bench_time"),
    path("next-round/", views.next_round, name="next_round"),
    path("cells/<str:code>/judge/", views.judge, name="judge"),
    path("cells/<str:code>/judgements/look/", views.look, name="look_at_judgements"),
    path("cells/<str:code>/decide/", views.decide, name="decide"),
    path("cells/<str:code>/balance/", views.balance, name="balance"),
    path("cells/<str:code>/balance/state/<str:key>/", views.state_assumption, name="state_assumption"),
    path("cells/<str:code>/balance/ask/", views.ask_balance, name="ask_balance"),
]
