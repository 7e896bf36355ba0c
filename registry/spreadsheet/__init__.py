"""Bringing in a logbook that was kept as a spreadsheet.

    reading    bytes → cells            workbook.py, text.py, limits.py
    header     cells → headings, rows   header.py
    columns    heading → logbook column columns.py, units.py, orders.py
    values     cell → value             values.py, rows.py
    courses    rows → courses, runs     courses.py, events.py
    saving     all or nothing           saving.py, progress.py

Nothing is guessed about a single cell: the order of day and month, the unit and the meaning of a word are
decided for a whole column by a person.
"""
