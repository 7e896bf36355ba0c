"""What a device label says, whichever system wrote it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date


@dataclass(frozen=True)
class DeviceLabel:
    """The parts of a device label. ``identifier`` names maker and model; the rest this very item.

    Letters, digits and leading zeros are as on the label; an empty text means the label does not say.
    """

    system: str
    raw: str
    identifier: str = ""
    lot: str = ""
    serial: str = ""
    expires_on: date | None = None
    made_on: date | None = None


class UnreadableLabel(ValueError):  # noqa: N818 - it reads as what it is
    """A code that was not understood; the text says why in plain words."""


class AmbiguousLabel(UnreadableLabel):
    """A code that can be read in several ways; a person has to look at the label. Holds the readings."""

    def __init__(self, text: str, readings: tuple[DeviceLabel, ...]) -> None:
        super().__init__(text)
        self.readings = readings
