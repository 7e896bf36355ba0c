"""The comparison as a page: sections, tables, charts and the diagram of routes."""
