"""The code on the box of each catheter, as a scanner sends it.

Its numbers begin with 952, which GS1 keeps for demonstrations: no product bears them (GS1 General
Specifications, prefix list; from memory).
"""

from __future__ import annotations

from datetime import date

from registry.barcodes.gs1 import check_digit_fits
from registry.barcodes.reading import SHOWN_SEPARATOR
from registry.demo.case import Case
from registry.models import Run

DEMONSTRATION_PREFIX = "0952"


def gtin(volume_ml: str) -> str:
    """The invented product number of a balloon of that volume, with its check digit."""
    stem = f"{DEMONSTRATION_PREFIX}0000{int(volume_ml):05d}"
    return next(stem + digit for digit in "0123456789" if check_digit_fits(stem + digit))


def stick(case: Case) -> None:
    """Give every pump whose lot is known the code that it was read from."""
    for run in case.pumps:
        if run.lot and run.serial and run.expires_on:
            run.udi_di = gtin(run.balloon_volume_ml)
            run.udi_raw = _scanned(run, run.expires_on)


def _scanned(run: Run, expires_on: date) -> str:
    return f"01{run.udi_di}17{expires_on:%y%m%d}10{run.lot}{SHOWN_SEPARATOR}21{run.serial}"
