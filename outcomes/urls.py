"""Addresses of the reporting pages."""

from django.urls import include, path

from outcomes import views
from outcomes.comparison import views as comparing
from outcomes.extract import views as extracting
from outcomes.issuing import views as issuing

urlpatterns = [
    path("quarter/", views.quarter, name="quarter"),
    path("quarter/report.json", views.quarter_json, name="quarter_json"),
    path("quarter/", include("outcomes.exports.urls")),
    path("quarter/cases/", views.cases, name="figure_cases"),
    path("quarter/issue/", issuing.sign, name="issue"),
    path("compare/", comparing.compare, name="compare"),
    path("compare/comparison.json", comparing.compare_json, name="compare_json"),
    path("compare/cases/", comparing.compare_cases, name="compare_cases"),
    path("compare/<slug:section_id>/", comparing.compare_section, name="compare_section"),
    path("issued/", issuing.issued_reports, name="issued_reports"),
    path("issued/<uuid:report_id>/", issuing.issued_report, name="issued_report"),
    path("issued/<uuid:report_id>/restatements/", issuing.restated, name="restated"),
    path("extract/", extracting.extract, name="extract"),
    path("definitions/", views.definitions, name="definitions"),
]
