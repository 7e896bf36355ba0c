"""Addresses of the reporting pages."""

from django.urls import include, path

from outcomes import beside, views
from outcomes.comparison import views as comparing
from outcomes.extract import views as extracting
from outcomes.issuing import files as issued_files
from outcomes.issuing import views as issuing

urlpatterns = [
    path("quarter/", views.quarter, name="quarter"),
    path("quarter/report.json", views.quarter_json, name="quarter_json"),
    path("quarter/", include("outcomes.exports.urls")),
    path("quarter/workbook/runs/", extracting.quarter_with_runs, name="workbook_with_runs"),
    path("quarter/cases/", views.cases, name="figure_cases"),
    path("quarter/issue/", issuing.sign, name="issue"),
    path("quarter/<slug:section_id>/", beside.quarter_section, name="quarter_section"),
    path("compare/", comparing.compare, name="compare"),
    path("compare/comparison.json", comparing.compare_json, name="compare_json"),
    path("compare/cases/", comparing.compare_cases, name="compare_cases"),
    path("compare/<slug:section_id>/", comparing.compare_section, name="compare_section"),
    path("issued/", issuing.issued_reports, name="issued_reports"),
    path("issued/<uuid:report_id>/", issuing.issued_report, name="issued_report"),
    path("issued/<uuid:report_id>/slides.pptx", issued_files.issued_slides, name="issued_slides"),
    path("issued/<uuid:report_id>/packet.pdf", issued_files.issued_packet, name="issued_packet"),
    path("issued/<uuid:report_id>/workbook.xlsx", issued_files.issued_workbook, name="issued_workbook"),
    path("issued/<uuid:report_id>/restatements/", issuing.restated, name="restated"),
    path("extract/", extracting.extract, name="extract"),
    path("definitions/", views.definitions, name="definitions"),
]
