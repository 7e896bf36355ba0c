"""Taking a de-identified extract: purpose and approval first, then the file, and a line in the log."""

from __future__ import annotations

import hashlib

from crispy_forms.helper import FormHelper
from django import forms
from django.http import HttpResponse
from django.shortcuts import render

from outcomes.extract.build import TooFewAlikeError, build_extract
from outcomes.extract.files import as_csv
from registry.access import WRITING, SignedInRequest, allow
from registry.choices import Role
from registry.models import DataExtract

EXTRACTORS = frozenset({Role.PHYSICIAN})
SMALLEST_ALLOWED, USUAL_SMALLEST, LARGEST = 5, 11, 50


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
    taken = DataExtract.objects.filter(centre=request.centre).select_related("taken_by")
    return render(request, "extract.html", {"form": form, "taken": taken}, status=422 if form.errors else 200)


def _take(request: SignedInRequest, form: ExtractForm) -> HttpResponse:
    made = build_extract(centre=request.centre, smallest_group=form.cleaned_data["smallest_group"])
    text = as_csv(made)
    DataExtract.objects.create(
        centre=request.centre,
        taken_by=request.user,
        purpose=form.cleaned_data["purpose"],
        approval=form.cleaned_data["approval"],
        row_count=len(made.rows),
        smallest_group=made.k,
        coarsened=list(made.coarsened),
        file_digest=hashlib.sha256(text.encode()).hexdigest(),
    )
    return HttpResponse(
        text,
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="runs.csv"'},
    )
