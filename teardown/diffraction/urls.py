"""Addresses of patterns and their fits."""

from django.urls import path

from teardown.diffraction import views

urlpatterns = [
    path("patterns/", views.patterns, name="patterns"),
    path("patterns/add/", views.add, name="add_pattern"),
    path("patterns/fractions/", views.fractions, name="give_fractions"),
    path("patterns/instruments/", views.diffractometers, name="diffractometers"),
    path("patterns/instruments/<int:pk>/change/", views.diffractometer_change, name="diffractometer_change"),
    path("patterns/<int:pk>/calibrate/", views.calibrate, name="pattern_calibrate"),
    path("patterns/together/", views.together, name="patterns_together"),
    path("patterns/fits/<int:pk>/", views.fit_alone, name="fit"),
    path("patterns/fits/<int:pk>/review/", views.judge, name="fit_review"),
    path("patterns/fits/<int:pk>/result.cif", views.result_cif, name="fit_cif"),
    path("patterns/fits/<int:pk>/curves.csv", views.curves_csv, name="fit_curves"),
    path("patterns/<int:pk>/", views.pattern, name="pattern"),
    path("patterns/<int:pk>/fitted/", views.fitted, name="pattern_fitted"),
    path("patterns/<int:pk>/fit/", views.fit, name="pattern_fit"),
    path("patterns/<int:pk>/fractions/", views.fractions_of, name="pattern_fractions"),
]
