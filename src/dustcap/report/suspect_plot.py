"""How the suspicion moved: one bar a finding, cut into the suspects' probabilities.

Read from top to bottom, as the work went. The suspects keep their order and tone from bar to bar; each is named inside
its piece where there is room, so that nothing hangs on colour.
"""

from __future__ import annotations

from collections.abc import Sequence

from dustcap.job.handover_data import HuntStep
from dustcap.report.svg import FADED, INK, PAPER, SMALL_PT, Drawing, shortened, text_width
from dustcap.report.wording import per_cent

TONES = (("#0f4c6e", PAPER), ("#7fa3b5", INK), ("#b9ced8", INK), ("#dbe6eb", INK))
"""Fill and text of the first suspects; the rest share the last paper-white piece."""
UNKNOWN = "#f3f0ea"
ROW, BAR, HEAD = 22.0, 16.0, 18.0
WORDS_SHARE = 0.4


def suspect_plot(steps: Sequence[HuntStep], *, width: float = 480.0, rows: int = 12) -> str | None:
    """The suspects' probabilities after each finding; None without findings.

    Of a long hunt the first and the last steps are drawn and the row between says how many were left out.
    """
    if not steps:
        return None
    leading = sorted(steps[-1].shares, key=lambda name: (-steps[-1].shares[name], name))[: len(TONES)]
    shown: list[HuntStep | int] = list(steps)
    if len(steps) > rows:
        shown = [*steps[:2], len(steps) - rows + 1, *steps[len(steps) - rows + 3 :]]
    drawing = Drawing(width, HEAD + ROW * len(shown) + 4, "Suspects after each finding", _said(steps[-1], leading))
    drawing.box((0, 0), (width, drawing.height), fill=PAPER)
    drawing.text((0, 11), "After this finding", size=SMALL_PT, fill=FADED)
    drawing.text((width * WORDS_SHARE, 11), "the suspects stood like this", size=SMALL_PT, fill=FADED)
    for row, step in enumerate(shown):
        top = HEAD + ROW * row
        if isinstance(step, int):
            drawing.text((0, top + 12), f"… {step} more findings …", fill=FADED)
        else:
            _bar(drawing, top, step, leading)
    return drawing.svg()


def _bar(drawing: Drawing, top: float, step: HuntStep, leading: Sequence[str]) -> None:
    left = drawing.width * WORDS_SHARE
    room = drawing.width - left
    drawing.text((0, top + 12), shortened(step.finding, left - 10))
    pieces = [(step.shares.get(name, 0.0), name, tone) for name, tone in zip(leading, TONES, strict=False)]
    others = max(0.0, 1.0 - sum(share for share, _, _ in pieces) - step.unexplained)
    pieces += [(others, "others", (PAPER, FADED)), (step.unexplained, "not in the model", (UNKNOWN, INK))]
    for share, name, (fill, ink) in pieces:
        piece = room * share
        drawing.box((left, top), (piece, BAR), fill=fill, stroke=FADED, width=0.5)
        said = f"{name} {per_cent(share)}"
        if text_width(said, SMALL_PT) > piece - 6:
            said = shortened(name, piece - 6, SMALL_PT)
        if len(said) > 3:
            drawing.text((left + 4, top + 11.5), said, size=SMALL_PT, fill=ink, bold=fill == TONES[0][0])
        left += piece


def _said(last: HuntStep, leading: Sequence[str]) -> str:
    named = ", ".join(f"{name} {per_cent(last.shares[name])}" for name in leading)
    return f"At the end: {named}."
