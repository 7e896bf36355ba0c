"""What marks the files of an issued report, and what in them is not part of what was signed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

Origin = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Again:
    """How the parts beside the kept report came about: computed again from the history as of the same moment.

    ``software_version`` is that of the program which computed them; ``missing`` says why it could not.
    """

    software_version: str
    missing: str = ""

    @property
    def mark(self) -> str:
        """A sentence for each of these parts."""
        return "Computed again from the history of the same moment; not signed."


@dataclass(frozen=True)
class Seal:
    """Which issue it is, who signed it, its digests, and the software that made what was kept."""

    number: int
    signed_by: str
    issued_at: datetime
    statement: str
    fingerprint: str
    content_digest: str
    software_version: str
    again: Again

    @property
    def line(self) -> str:
        """Short enough for the foot of a slide."""
        return f"Issue {self.number}, signed by {self.signed_by}, data {self.fingerprint[:12]}"

    def origin(self, period: str, *, present: Sequence[str], absent: Sequence[str]) -> Origin:
        """In words, each with its heading: what was kept, what was computed again, what is missing and why.

        ``present`` and ``absent`` are parts beside the kept figures of ``period``.
        """
        kept = f"the figures of {period}, word for word; software {self.software_version}"
        said = [("Kept as signed", kept)]
        if present:
            how = f"from the history as of the same moment; software {self.again.software_version}"
            said.append(("Computed again, not signed", f"{_listed(present)}, {how}"))
        if absent and self.again.missing:
            said.append(("Not in this file", f"{_listed(absent)}: {self.again.missing}"))
        return tuple(said)


def _listed(parts: Sequence[str]) -> str:
    """``a, b and c``."""
    return " and ".join(part for part in (", ".join(parts[:-1]), parts[-1]) if part)
