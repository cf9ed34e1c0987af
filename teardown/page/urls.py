"""The one address of this app."""

from django.urls import path

from teardown.page.preferences import keep_preferences

urlpatterns = [path("preferences/", keep_preferences, name="preferences")]
