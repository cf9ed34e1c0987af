"""Addresses of people and their accounts."""

from django.urls import path

from teardown.accounts import views

urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", views.sign_out, name="sign_out"),
    path("health/", views.health, name="health"),
    path("account/", views.account, name="account"),
    path("people/", views.people, name="people"),
    path("people/<str:username>/", views.person, name="person"),
]
