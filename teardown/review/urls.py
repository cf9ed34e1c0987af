"""Addresses of the review."""

from django.urls import path

from teardown.review import views

urlpatterns = [
    path("", views.home, name="home"),
    path("cells/", views.cells, name="cells"),
    path("cells.csv", views.cells_csv, name="cells_csv"),
    path("cells/<str:code>/", views.cell, name="cell"),
    path("side-by-side/", views.side_by_side, name="side_by_side"),
    path("side-by-side/keep/", views.keep, name="keep_view"),
    path("records/", views.records, name="records"),
    path("records/chain/", views.chain, name="chain"),
    path("search/", views.search, name="search"),
]
