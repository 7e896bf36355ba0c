"""Reporting: from the logbook's rows to figures that open to their cases."""
