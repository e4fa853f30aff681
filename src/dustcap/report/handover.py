"""The hand-over sheet as PDF: one to three A4 pages, the same bytes for the same data.

All text goes to the layout as data, never as markup, so that nothing a person typed can change the page. Only the
fonts of the package `font-source-sans-pro` are used, so that the sheet looks alike on every machine.
"""

from __future__ import annotations

import json
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal, cast

import font_source_sans_pro
import typst

from dustcap.errors import InputError
from dustcap.job.handover_data import HandoverData
from dustcap.report.crackle_plot import crackle_plot
from dustcap.report.handover_words import FITS, sheet
from dustcap.report.recording_plots import harmonics_plot, noise_plot, response_plot
from dustcap.report.suspect_plot import suspect_plot
from dustcap.report.verdict_plot import verdict_gauge, verdict_mark

FULL_PT, HALF_PT = 504.0, 246.0
SUSPECT_ROWS = 8


@dataclass(frozen=True, slots=True)
class Layout:
    """A page layout, and how many pages it may fill."""

    file: str
    pages: int


SHEET, PROOF = Layout("handover.typ", 3), Layout("proof.typ", 1)


def handover_pdf(data: HandoverData) -> bytes:
    """The hand-over sheet of a job.

    Parameters
    ----------
    data : HandoverData
        What the job holds; `made` is its time of making.

    Returns
    -------
    bytes
        A PDF of one to three A4 pages. Lists too long for the sheet are cut, and the sheet says how much was left out.

    Raises
    ------
    InputError
        If `made` is not a time, or a verdict is none of pass, fail and undecided.
    """
    return cast(bytes, _compiled(data, "pdf"))


def proof_pdf(data: HandoverData) -> bytes:
    """The page of the proof alone: verdicts, plots now, before and beside the twin, and what was not measured."""
    return cast(bytes, _compiled(data, "pdf", layout=PROOF))


def handover_pages(data: HandoverData, *, ppi: float = 96.0) -> list[bytes]:
    """The same sheet as PNG pictures, one a page, for the screen."""
    pages = _compiled(data, "png", ppi)
    return pages if isinstance(pages, list) else [pages]


def drawings(data: HandoverData) -> dict[str, str]:
    """The sheet's drawings as SVG text by name; a drawing with nothing to show is left out."""
    now, before = data.after or {}, data.before
    drawn = {
        "suspects": suspect_plot(data.steps, width=FULL_PT, rows=SUSPECT_ROWS),
        "response": response_plot(
            now,
            before,
            beside=data.beside,
            beside_label=data.beside_words.split(",")[0],
            limits=data.limits,
            width=FULL_PT,
        ),
        "harmonics": harmonics_plot(now, before, limits=data.limits, width=HALF_PT),
        "noise": noise_plot(now, before, limits=data.limits, width=HALF_PT),
        "crackle": crackle_plot(now, before, width=FULL_PT),
    }
    drawn |= {f"gauge_{i}": verdict_gauge(line) for i, line in enumerate(data.verdicts)}
    drawn |= {f"mark_{verdict}": verdict_mark(verdict) for verdict in ("pass", "fail", "undecided")}
    return {name: svg for name, svg in drawn.items() if svg is not None}


def _compiled(
    data: HandoverData, kind: Literal["pdf", "png"], ppi: float | None = None, *, layout: Layout = SHEET
) -> bytes | list[bytes]:
    made, drawn = _made(data), drawings(data)
    with tempfile.TemporaryDirectory(prefix="dustcap-") as folder:
        for name, svg in drawn.items():
            Path(folder, f"{name}.svg").write_text(svg, encoding="utf-8")
        for part in (layout.file, "proof_part.typ"):
            Path(folder, part).write_bytes(files("dustcap.report").joinpath(part).read_bytes())
        main = Path(folder, layout.file)
        fonts = Path(font_source_sans_pro.__file__).parent / "files"
        compiler = typst.Compiler(str(main), root=folder, font_paths=[str(fonts)], ignore_system_fonts=True)
        for fit in FITS:
            words = sheet(data, made, frozenset(drawn), fit)
            ways = [_pages_with(compiler, folder, words | {"cautions_first": first}) for first in (True, False)]
            if ways[0] <= ways[1]:
                _pages_with(compiler, folder, words | {"cautions_first": True})
            if min(ways) <= layout.pages:
                break
        return cast("bytes | list[bytes]", compiler.compile(format=kind, ppi=ppi, timestamp=made))


def _pages_with(compiler: typst.Compiler, folder: str, words: dict[str, Any]) -> int:
    """How many pages these words take; they are what is compiled next."""
    Path(folder, "data.json").write_text(json.dumps(words, ensure_ascii=False), encoding="utf-8")
    return _page_count(compiler)


def _page_count(compiler: typst.Compiler) -> int:
    return int(json.loads(compiler.query("<pages>", field="value", one=True)))


def _made(data: HandoverData) -> datetime:
    try:
        made = datetime.fromisoformat(data.made)
    except ValueError as error:
        raise InputError(
            f"{data.made!r} is not a time.", where="handover made", mend="Give it as 2026-11-25T09:30:00+00:00."
        ) from error
    whole = made.replace(microsecond=0)
    return whole.astimezone(UTC) if whole.tzinfo else whole.replace(tzinfo=UTC)
