"""Who may take de-identified runs, and how many patients must be alike in them."""

from registry.access import LOGBOOK

EXTRACTORS = LOGBOOK
# 11 is usual for a file that leaves the hospital: common practice, no source.
SMALLEST_ALLOWED, USUAL_SMALLEST, LARGEST = 5, 11, 50
