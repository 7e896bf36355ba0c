"""Addresses of the reporting pages."""

from django.urls import path

from outcomes import views

urlpatterns = [
    path("quarter/", views.quarter, name="quarter"),
    path("definitions/", views.definitions, name="definitions"),
]
