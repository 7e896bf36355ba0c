"""Taking de-identified runs, as a file of their own or as a sheet of a quarter's workbook.

Either way purpose and approval come first, then the file, and a line in the log.
"""

from __future__ import annotations

from crispy_forms.helper import FormHelper
from django import forms
from django.http import HttpResponse
from django.shortcuts import render

from outcomes.comparison.reading import load
from outcomes.exports.material import gather
from outcomes.exports.run_sheet import workbook_with_runs
from outcomes.exports.views import handed_out
from outcomes.extract.build import TooFewAlikeError, build_extract
from outcomes.extract.files import as_csv, note_extract
from outcomes.extract.limits import EXTRACTORS, LARGEST, SMALLEST_ALLOWED, USUAL_SMALLEST
from outcomes.period import Period
from outcomes.views import Asked, asked_period
from registry.access import WRITING, SignedInRequest, allow
from registry.models import DataExtract


class ExtractForm(forms.Form):
    purpose = forms.CharField(
        min_length=10,
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="The question it is to answer.",
    )
    approval = forms.CharField(
        max_length=120, help_text="Number or date of the written determination or approval that covers it."
    )
    smallest_group = forms.IntegerField(
        label="Fewest patients alike", min_value=SMALLEST_ALLOWED, max_value=LARGEST, initial=USUAL_SMALLEST,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        help_text="11 is usual for a file that leaves the hospital. Details are given up to reach it.",
    )  # fmt: skip

    @property
    def why(self) -> dict[str, str]:
        """What is noted of the reason for taking it."""
        return {name: self.cleaned_data[name] for name in ("purpose", "approval")}

    @property
    def helper(self) -> FormHelper:
        helper = FormHelper()
        helper.form_tag = False
        return helper


@allow(EXTRACTORS, methods=WRITING)
def extract(request: SignedInRequest) -> HttpResponse:
    form = ExtractForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            return _take(request, form)
        except TooFewAlikeError as refusal:
            form.add_error("smallest_group", f"{refusal} Nothing was written.")
    return _page(request, form)


@allow(EXTRACTORS, methods=WRITING)
def quarter_with_runs(request: SignedInRequest) -> HttpResponse:
    """The workbook of a period with the runs as a sheet; else it holds what the committee's would.

    Curves, small counts and cases for discussion would date single runs to the quarter.
    """
    asked = asked_period(request)
    form = ExtractForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and not asked.problem:
        return _take_workbook(request, form, asked.period)
    return _page(request, form, asked)


def _page(request: SignedInRequest, form: ExtractForm, asked: Asked | None = None) -> HttpResponse:
    taken = DataExtract.objects.filter(centre=request.centre).select_related("taken_by")
    wrong = form.errors or (asked and asked.problem)
    context = {"form": form, "taken": taken, "asked": asked}
    return render(request, "extract.html", context, status=422 if wrong else 200)


def _take(request: SignedInRequest, form: ExtractForm) -> HttpResponse:
    made = build_extract(centre=request.centre, smallest_group=form.cleaned_data["smallest_group"])
    text = as_csv(made)
    note_extract(made, text.encode(), centre=request.centre, by=request.user, **form.why)
    return HttpResponse(
        text,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="runs.csv"'},
    )


def _take_workbook(request: SignedInRequest, form: ExtractForm, period: Period) -> HttpResponse:
    """With the rows, or with the reason for their absence."""
    dataset, facts = load(centres=[request.centre])
    smallest_cell = max(request.centre.smallest_cell, SMALLEST_ALLOWED)
    material = gather(dataset=dataset, facts=facts, period=period, smallest_cell=smallest_cell)
    body = workbook_with_runs(
        material,
        centre=request.centre,
        by=request.user,
        smallest_group=form.cleaned_data["smallest_group"],
        **form.why,
    )
    return handed_out(request, body, "workbook-with-runs", "xlsx", material)
