"""Device labels: the code on the box, scanned or typed, read into identifier, lot, serial and expiry date."""

from registry.barcodes.label import AmbiguousLabel, DeviceLabel, UnreadableLabel
from registry.barcodes.reading import read_label

__all__ = ["AmbiguousLabel", "DeviceLabel", "UnreadableLabel", "read_label"]
