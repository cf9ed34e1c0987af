"""Addresses of cycling."""

from django.urls import path

from teardown.cycling import views

urlpatterns = [
    path("tests/<int:pk>/history/", views.history, name="history"),
    path("tests/<int:pk>/cycles.csv", views.cycles_csv, name="test_cycles"),
    path("tests/<int:pk>/curves.csv", views.curves_csv, name="test_curves"),
    path("tests/<int:pk>/series.parquet", views.series, name="test_series"),
    path("tests/<int:pk>/package.zip", views.package, name="test_package"),
    path("tests/<int:pk>/again/", views.again, name="sum_up_again"),
    path("tests/<int:pk>/import/", views.import_series, name="import_series"),
    path("imports/series/<int:pk>/", views.series_import, name="series_import"),
    path("imports/series/<int:pk>/map.json", views.map_json, name="series_map"),
    path("capacity/", views.capacities, name="capacities"),
    path("capacity.csv", views.capacities_csv, name="capacities_csv"),
    path("capacity.zip", views.capacities_package, name="capacities_package"),
    path("recipes/<str:code>/capacity/", views.recipe_capacity, name="recipe_capacity"),
]
