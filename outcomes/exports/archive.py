"""Office files are ZIP archives that hold the moment of writing; one report must give one file."""

from __future__ import annotations

import re
import zipfile
from datetime import UTC, datetime
from io import BytesIO

EARLIEST = (1980, 1, 1, 0, 0, 0)  # the first moment a ZIP archive can hold
WRITTEN = re.compile(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*")


def settled(archive: bytes, moment: datetime) -> bytes:
    """The same archive as if written at ``moment``, the workbooks embedded in it too."""
    out = BytesIO()
    stamp = moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ").encode()
    with zipfile.ZipFile(BytesIO(archive)) as source, zipfile.ZipFile(out, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            if name.endswith(".xlsx"):
                content = settled(content, moment)
            elif name == "docProps/core.xml":
                content = WRITTEN.sub(rb"\g<1>" + stamp, content)
            entry = zipfile.ZipInfo(name, EARLIEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            target.writestr(entry, content)
    return out.getvalue()
