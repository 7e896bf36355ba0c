"""Addresses of the files of a quarter."""

from django.urls import path

from outcomes.exports import views

urlpatterns = [
    path("slides.pptx", views.quarter_slides, name="quarter_slides"),
    path("packet.pdf", views.quarter_packet, name="quarter_packet"),
    path("workbook.xlsx", views.quarter_workbook, name="quarter_workbook"),
    path("figures/<slug:id>.svg", views.figure_svg, name="figure_svg"),
    path("figures/<slug:id>.png", views.figure_png, name="figure_png"),
    path("tables/<slug:id>.csv", views.quarter_table, name="quarter_table"),
]
