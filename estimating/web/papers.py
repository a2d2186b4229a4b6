"""What suppliers send, kept as it came: a PDF, a picture of paper, a table of prices. What it is, its bytes say."""

from __future__ import annotations

from typing import IO

from buildout.builds.web.pictures import PictureError, read_picture
from estimating.engine.price_list import LARGEST_TABLE, TableError, read_table
from estimating.web.asking_models import Paper

LARGEST_PAPER = 12_000_000
"""Bytes."""
KINDS = {"pdf": "application/pdf", "jpeg": "image/jpeg", "png": "image/png", "csv": "text/plain; charset=utf-8"}
"""How each is given back. A table goes out as plain text, so that nothing opens it as a sheet with live formulas."""


class PaperError(ValueError):
    """Why a file cannot be kept, and what would be right."""


def read_report(file: IO[bytes], size: int) -> tuple[str, bytes]:
    """(kind, bytes) of a report: a PDF or a picture of paper. Raises ``PaperError``."""
    kind, data = read_paper(file, size)
    if kind == Paper.Kind.CSV:
        raise PaperError("This is neither a PDF nor a JPEG or PNG picture. Attach the report itself, or scan it.")
    return kind, data


def read_paper(file: IO[bytes], size: int) -> tuple[str, bytes]:
    """(kind, bytes). The size is looked at before anything is read. Raises ``PaperError``."""
    if size > LARGEST_PAPER:
        raise PaperError(
            f"The file is {size / 1_000_000:.0f} MB; 12 MB is the most. Scan it in grey at 150 dots an inch, "
            "or send the pages with the prices alone."
        )
    if size == 0:
        raise PaperError("The file is empty.")
    start = file.read(8)
    file.seek(0)
    if start.startswith(b"%PDF-"):
        data = file.read()
        if b"%%EOF" not in data[-2048:]:
            raise PaperError("The PDF is cut off before its end. Send it again.")
        return Paper.Kind.PDF, data
    if start.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")):
        kind = Paper.Kind.JPEG if start[0] == 0xFF else Paper.Kind.PNG
        data = file.read()
        try:
            read_picture(data, (kind.upper(),))
        except PictureError as error:
            raise PaperError(str(error)) from error
        return kind, data
    if size <= LARGEST_TABLE:
        data = file.read()
        try:
            read_table(data)
        except TableError as error:
            raise PaperError(f"Neither a PDF nor a JPEG or PNG picture. {error}") from error
        return Paper.Kind.CSV, data
    raise PaperError("This is neither a PDF, nor a JPEG or PNG picture, nor a table saved as CSV of up to 0.5 MB.")
