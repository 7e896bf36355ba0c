"""The quarter to take along: slides, a printed packet, a workbook, single figures and tables.

All are drawn from the same report, tables and charts as the page; nothing is computed twice.
"""
