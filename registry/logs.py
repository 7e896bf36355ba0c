"""How log entries are written."""

from __future__ import annotations

import logging
import traceback
from types import TracebackType
from typing import TypeAlias

ENTRY = "%(asctime)s %(levelname)s %(name)s %(message)s"
ExcInfo: TypeAlias = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


class LineFormatter(logging.Formatter):
    """One line an entry. Of an exception it tells kind and place, never the text: that can quote a record
    ("Key (study_number)=(…) already exists").
    """

    def __init__(self) -> None:
        super().__init__(ENTRY)

    def formatException(self, ei: ExcInfo) -> str:  # noqa: N802 - logging's name
        """The exception's kind, and the places it passed through, innermost first."""
        kind, _, trace = ei
        places = [f"{frame.filename}:{frame.lineno}" for frame in reversed(traceback.extract_tb(trace))]
        return f"{kind.__name__ if kind else 'No exception'} at {' < '.join(places)}"

    def format(self, record: logging.LogRecord) -> str:
        """The entry with line ends and control characters made visible: no text can forge another entry."""
        text = super().format(record).replace("\n", " | ")
        return "".join(char if char.isprintable() else ascii(char)[1:-1] for char in text)


class DebugFormatter(logging.Formatter):
    """Whole tracebacks, for development with invented data."""

    def __init__(self) -> None:
        super().__init__(ENTRY)
