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
    path("marks/<str:kind>/<int:pk>/", views.marks, name="marks"),
    path("marks/<int:pk>/away/", views.mark_away, name="mark_away"),
    path("methods/", views.methods, name="methods"),
    path("methods/refusals/", views.refusals, name="refusals"),
    path("methods/<str:key>/", views.method, name="method"),
    path("search/", views.search, name="search"),
]
