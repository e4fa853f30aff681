"""Readings as they are typed in: where the leads are, and what the meter shows."""

from __future__ import annotations

from dustcap.predict.checks import KINDS

OVER = ("over", "over range", "open", "OL")
UNDER = ("under", "under range")
BETWEEN = ".."


def placed(check: str, at: str, against: str) -> dict[str, str]:
    """The keys for where a check is made: a part for the kinds that name one, else two nets."""
    kind = KINDS.get(check)
    if kind is not None and kind.names == "part":
        return {"part": at} | ({"against": against} if against else {})
    return {"at": at, "against": against}


def answered(value: str) -> dict[str, str | bool]:
    """The keys for what the meter shows: a value, ``over``, ``under``, or two limits as ``4.1..4.3 V``."""
    value = value.strip()
    if value in OVER:
        return {"over": True}
    if value in UNDER:
        return {"under": True}
    if BETWEEN in value:
        low, high = (side.strip() for side in value.split(BETWEEN, 1))
        return {"low": low if low.strip("+-0123456789.,") else low + _unit(high), "high": high}
    return {"value": value}


def _unit(text: str) -> str:
    """The unit that the upper limit carries, for a lower limit that is a bare number."""
    return text.lstrip("+-−0123456789., ")
