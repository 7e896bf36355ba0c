"""The registry as plain tables: one CSV file per entity, out and back in without loss."""

from registry.tables.files import Complaint
from registry.tables.reading import ImportReport, import_tables, lines
from registry.tables.writing import export_tables

__all__ = ["Complaint", "ImportReport", "export_tables", "import_tables", "lines"]
