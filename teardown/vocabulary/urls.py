"""Addresses of the vocabulary."""

from django.urls import path

from teardown.vocabulary import views

urlpatterns = [
    path("vocabulary/", views.vocabulary, name="vocabulary"),
    path("vocabulary/lists/<str:kind>/", views.words, name="words"),
    path("vocabulary/<str:key>/", views.term, name="term"),
    path("vocabulary/<str:key>/reword/", views.reword, name="reword_term"),
    path("vocabulary/<str:key>/retire/", views.retire, name="retire_term"),
    path("vocabulary/<str:key>/answer/", views.answer, name="answer_term"),
]
