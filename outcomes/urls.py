"""Addresses of the reporting pages."""

from django.urls import path

from outcomes import views
from outcomes.extract import views as extracting
from outcomes.issuing import views as issuing

urlpatterns = [
    path("quarter/", views.quarter, name="quarter"),
    path("quarter/report.json", views.quarter_json, name="quarter_json"),
    path("quarter/cases/", views.cases, name="figure_cases"),
    path("quarter/issue/", issuing.sign, name="issue"),
    path("issued/", issuing.issued_reports, name="issued_reports"),
    path("issued/<uuid:report_id>/", issuing.issued_report, name="issued_report"),
    path("issued/<uuid:report_id>/restatements/", issuing.restated, name="restated"),
    path("extract/", extracting.extract, name="extract"),
    path("definitions/", views.definitions, name="definitions"),
]
