"""The service sheet as PDF, to pin over the bench: rails, blocks as the signal goes, first checks, every net and part.

The same board gives the same bytes: the page carries no date. All text goes to the layout as data, never as markup.
"""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import cast

import font_source_sans_pro
import typst

from dustcap.job.sheet import ServiceSheet
from dustcap.report.sheet_words import sheet_words

UNDATED = datetime(2000, 1, 1, tzinfo=UTC)


def sheet_pdf(data: ServiceSheet) -> bytes:
    """The service sheet as a PDF of A4 pages."""
    with tempfile.TemporaryDirectory(prefix="dustcap-") as folder:
        Path(folder, "data.json").write_text(json.dumps(sheet_words(data), ensure_ascii=False), encoding="utf-8")
        main = Path(folder, "sheet.typ")
        main.write_bytes(files("dustcap.report").joinpath("sheet.typ").read_bytes())
        fonts = Path(font_source_sans_pro.__file__).parent / "files"
        compiler = typst.Compiler(str(main), root=folder, font_paths=[str(fonts)], ignore_system_fonts=True)
        return cast(bytes, compiler.compile(format="pdf", timestamp=UNDATED))
