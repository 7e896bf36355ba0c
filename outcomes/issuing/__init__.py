"""Issuing a period's report: signed as of a moment, kept, and compared with what is known later."""

from outcomes.issuing.fingerprint import fingerprint
from outcomes.issuing.issue import Verdict, issue, kept_report, reissue, settled_moment, verify
from outcomes.issuing.restated import Moved, restatements
from outcomes.issuing.restated_changes import LateChange, late_changes

__all__ = [
    "LateChange",
    "Moved",
    "Verdict",
    "fingerprint",
    "issue",
    "kept_report",
    "late_changes",
    "reissue",
    "restatements",
    "settled_moment",
    "verify",
]
