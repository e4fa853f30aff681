"""The service sheet as PDF, to pin over the bench: rails, drawn blocks, first checks, every net and part.

The same board gives the same bytes: the page carries no date. All text goes to the layout as data, never as markup.
"""

from __future__ import annotations

import json
import tempfile
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, cast

import font_source_sans_pro
import typst

from dustcap.job.sheet import ServiceSheet
from dustcap.report.drawn_block import LAID, WIDTH, draw_block, drawing_svg
from dustcap.report.sheet_words import sheet_words

TALLEST, BETWEEN = 470.0, 24.0
"""Points: a drawing must fit on one page below its name; room between two side by side."""
UNDATED = datetime(2000, 1, 1, tzinfo=UTC)


def sheet_pdf(data: ServiceSheet) -> bytes:
    """The service sheet as a PDF of A4 pages."""
    with tempfile.TemporaryDirectory(prefix="dustcap-") as folder:
        words = sheet_words(data) | {"rows": _drawings(data, Path(folder))}
        Path(folder, "data.json").write_text(json.dumps(words, ensure_ascii=False), encoding="utf-8")
        main = Path(folder, "sheet.typ")
        main.write_bytes(files("dustcap.report").joinpath("sheet.typ").read_bytes())
        fonts = Path(font_source_sans_pro.__file__).parent / "files"
        compiler = typst.Compiler(str(main), root=folder, font_paths=[str(fonts)], ignore_system_fonts=True)
        return cast(bytes, compiler.compile(format="pdf", timestamp=UNDATED))


def _drawings(data: ServiceSheet, folder: Path) -> list[list[dict[str, Any]]]:
    """Every drawn block as a file in the folder; names, files and sizes, in rows of what fits side by side."""
    rows: list[list[dict[str, Any]]] = []
    room = 0.0
    for number, block in enumerate(data.drawn):
        drawing = draw_block(block)
        name = f"block-{number}.svg"
        Path(folder, name).write_text(drawing_svg(block, drawing), encoding="utf-8")
        scale = min(WIDTH / LAID, WIDTH / drawing.width, TALLEST / drawing.height)
        entry = {"name": block.name.replace("_", " "), "file": name, "width": drawing.width * scale}
        entry["from"] = block.origin
        if rows and drawing.width * scale <= room:
            rows[-1].append(entry)
        else:
            rows.append([entry])
            room = WIDTH
        room -= drawing.width * scale + BETWEEN
    return rows
