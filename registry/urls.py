"""The URL map. Reporting pages come from the module named here as a string."""

from allauth.account import views as account
from allauth.mfa.base import views as second_factor
from allauth.mfa.recovery_codes import views as recovery
from allauth.mfa.totp import views as totp
from django.urls import URLPattern, URLResolver, include, path

from registry.second_factor import is_required
from registry.views import (
    candidates,
    cases,
    corrections,
    extended,
    followed,
    home,
    implants,
    importing,
    questions,
    review,
    round,
    settings,
    tracing,
)

required = {"required": is_required}
own_factor = second_factor.IndexView.as_view(extra_context=required)
new_app = totp.ActivateTOTPView.as_view(extra_context=required)

urlpatterns: list[URLPattern | URLResolver] = [
    path("", home.home, name="home"),
    path("", include("outcomes.urls")),
    # /support, /find, /cases/
    path("support/", round.support, name="support"),
    path("support/rows/<uuid:run_id>/", round.row, name="round_row"),
    path("support/rows/<uuid:run_id>/draft/", round.draft, name="round_draft"),
    path("questions/", questions.questions, name="questions"),
    path("questions/answer/", questions.answer, name="answer_question"),
    path("questions/completeness/", questions.completeness, name="completeness"),
    path("find/", cases.find, name="find"),
    path("cases/<uuid:course_id>/", cases.case, name="case"),
    path("cases/<uuid:course_id>/review/", review.review, name="review"),
    path("cases/<uuid:course_id>/device/", implants.further_device, name="further_device"),
    path("cases/<uuid:course_id>/event/<slug:kind>/", followed.new_event, name="new_event"),
    path("cases/<uuid:course_id>/mobilisation/", followed.new_mobilisation, name="new_mobilisation"),
    path("cases/<uuid:course_id>/plan/", followed.new_plan_change, name="new_plan_change"),
    path("cases/<uuid:course_id>/screening/", extended.new_screening, name="new_screening"),
    path("cases/<uuid:course_id>/pressures/", extended.new_haemodynamics, name="new_haemodynamics"),
    path("cases/<uuid:course_id>/waiting-list/", extended.new_listing, name="new_listing"),
    path("cases/<uuid:course_id>/outcome/", followed.new_outcome, name="new_outcome"),
    path("cases/<uuid:course_id>/follow-up/", followed.new_follow_up, name="new_follow_up"),
    # /implants/, /runs/
    path("implants/new/", implants.new_implant, name="new_implant"),
    path("runs/<uuid:run_id>/exchange/", implants.exchange, name="exchange"),
    path("runs/<uuid:run_id>/removal/", implants.remove_device, name="remove_device"),
    path("runs/<uuid:run_id>/day/", followed.new_check, name="new_check"),
    # /considered/
    path("considered/", candidates.candidates, name="candidates"),
    path("considered/new/", followed.new_candidate, name="new_candidate"),
    path("considered/failed-attempt/", implants.failed_attempt, name="new_failed_attempt"),
    # /tracing/, /devices/
    path("tracing/", tracing.tracing, name="tracing"),
    path("devices/label/", tracing.read_code, name="read_code"),
    # /import/
    path("import/", importing.importing, name="importing"),
    path("import/sheet/", importing.sheet, name="import_sheet"),
    path("import/columns/", importing.columns, name="import_columns"),
    path("import/meanings/", importing.meanings, name="import_meanings"),
    path("import/preview/", importing.preview, name="import_preview"),
    path("import/progress/", importing.progress, name="import_progress"),
    path("import/leave/", importing.abandon, name="import_abandon"),
    # /records/
    path("records/<slug:entity>/<uuid:record_id>/correct/", corrections.correct, name="correct"),
    path("records/<slug:entity>/<uuid:record_id>/remove/", corrections.remove, name="remove"),
    path("records/<slug:entity>/<uuid:record_id>/history/", corrections.history, name="history"),
    # /settings/
    path("settings/", settings.settings, name="settings"),
    path("settings/definitions/", settings.confirm_definition, name="confirm_definition"),
    path("settings/people/new/", settings.new_person, name="new_person"),
    path("settings/people/<int:person_id>/", settings.person, name="person"),
    path("settings/people/<int:person_id>/password/", settings.reset_password, name="reset_password"),
    path(
        "settings/people/<int:person_id>/second-factor/",
        settings.take_second_factor,
        name="take_second_factor",
    ),
    path("settings/further-readers/new/", settings.further_reader, name="further_reader"),
    path(
        "settings/further-readers/<int:person_id>/end/",
        settings.end_further_reader,
        name="end_further_reader",
    ),
    # /account/
    path("account/sign-in/", account.login, name="account_login"),
    path("account/sign-out/", account.logout, name="account_logout"),
    path("account/password/", account.password_change, name="account_change_password"),
    path("account/confirm/", account.reauthenticate, name="account_reauthenticate"),
    path("account/confirm/code/", second_factor.reauthenticate, name="mfa_reauthenticate"),
    path("account/sign-in/code/", second_factor.authenticate, name="mfa_authenticate"),
    path("account/second-factor/", own_factor, name="mfa_index"),
    path("account/second-factor/app/", new_app, name="mfa_activate_totp"),
    path("account/second-factor/app/remove/", totp.deactivate_totp, name="mfa_deactivate_totp"),
    path("account/second-factor/recovery/", recovery.view_recovery_codes, name="mfa_view_recovery_codes"),
    path(
        "account/second-factor/recovery/new/",
        recovery.generate_recovery_codes,
        name="mfa_generate_recovery_codes",
    ),
]
