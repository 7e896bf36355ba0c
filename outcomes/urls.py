"""Addresses of the reporting pages."""

from django.urls import path

from outcomes import views

urlpatterns = [
    path("quarter/", views.quarter, name="quarter"),
    path("quarter/report.json", views.quarter_json, name="quarter_json"),
    path("quarter/cases/", views.cases, name="figure_cases"),
    path("definitions/", views.definitions, name="definitions"),
]
