"""Records of extended groups: vascular screening, pressures and flow, the waiting list."""

from __future__ import annotations

from typing import Any

from registry.forms.base import LogbookForm, record_form
from registry.models import HaemodynamicSet, ListingSpell, Screening


class ScreeningForm(LogbookForm):
    groups = frozenset({"screening"})
    sections = (
        ("Choice of the route", ("route_reason", "procedure_consent", "imaging")),
        (
            "Artery of the arm",
            (
                "axillary_lumen_mm",
                "stenosis_pct",
                "mammary_graft_left",
                "vertebral_dominant_left",
                "dominant_hand",
            ),
        ),
        ("Aorta and legs", ("arch", "subclavian_coeliac_mm", "iliofemoral_disease", "note")),
    )

    Meta = record_form(Screening)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["route_reason"].required = True


class HaemodynamicForm(LogbookForm):
    groups = frozenset({"haemodynamics"})
    sections = (
        ("Measured", ("measured_at", "on_support")),
        ("Arterial", ("systolic_mmhg", "diastolic_mmhg", "mean_mmhg", "heart_rate_per_min")),
        (
            "Right heart",
            (
                *("right_atrial_mmhg", "pulmonary_systolic_mmhg", "pulmonary_diastolic_mmhg"),
                *("pulmonary_mean_mmhg", "wedge_mmhg"),
            ),
        ),
        ("Flow", ("output_l_min", "output_method", "mixed_venous_pct", "surface_formula", "note")),
    )

    Meta = record_form(HaemodynamicSet)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["on_support"].required = not self.instance.pk  # a set without it compares with nothing


class ListingForm(LogbookForm):
    groups = frozenset({"listing"})
    sections = (("Waiting list", ("tier", "began_on", "expires_on", "basis")),)

    Meta = record_form(ListingSpell)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["expires_on"].days_ahead = 400  # type: ignore[attr-defined]
        self.fields["expires_on"].widget.attrs["data-days-ahead"] = 400
