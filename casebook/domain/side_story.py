"""Which side moved behind an asymmetry, in words; left and right are always spelled out."""

from __future__ import annotations

from casebook.domain.metrics import Better, Metric, Scale
from casebook.domain.number_words import rounded_alike
from casebook.domain.verdicts import Reason, Verdict, What
from casebook.domain.wording import side_words, unit_words


def side_story_words(verdict: Verdict, metric: Metric) -> str:
    """What each side did behind an asymmetry, each held against its own error.

    Parameters
    ----------
    verdict : Verdict
    metric : Metric
        The one that the verdict is about.

    Returns
    -------
    str
        A sentence; '' for what is no asymmetry, or where the sides were not compared.
    """
    if verdict.what is not What.ASYMMETRY or verdict.reason is Reason.NOT_LIKE_FOR_LIKE:
        return ""
    if verdict.left_change is None or verdict.right_change is None:
        return ""
    told = {
        side: _moved(change, limit, metric)
        for side, change, limit in (
            (What.LEFT, verdict.left_change, verdict.left_mdc95),
            (What.RIGHT, verdict.right_change, verdict.right_mdc95),
        )
    }
    first, second = What.LEFT, What.RIGHT
    if verdict.worse_side is What.RIGHT:
        first, second = second, first
    if told[first] == told[second] == STILL:
        sides = "Neither side moved beyond its own error"
    else:
        ranked = verdict.worse_side is not None
        sides = "; ".join(
            f"{_name(side, rank if ranked else '')} {told[side]}"
            for side, rank in ((first, "worse"), (second, "better"))
        )
        sides = sides[0].upper() + sides[1:]
    return f"{sides}. {_crossing(verdict)}".strip()


STILL = "did not move beyond its own error"
ROUNDING = 1e-9
UNKNOWN = "has no error figure to tell by whether it moved"


def _moved(change: float, limit: float | None, metric: Metric) -> str:
    if limit is None:
        return UNKNOWN
    # Keeps a mean of grades such as 7/3 - 4/3 on the near side of the step 1 that it equals.
    if abs(change) <= limit + (ROUNDING if metric.scale is Scale.GRADE else 0.0):
        return STILL
    words = {
        Better.HIGHER: ("gained", "fell"),
        Better.LOWER: ("got worse", "got better"),
    }.get(metric.better, ("went up", "went down"))
    unit = "grades" if metric.scale is Scale.GRADE else unit_words(metric.unit)
    return f"{words[change < 0]} ({rounded_alike((change,), unit, signed=True)[0]})"


def _name(side: What, rank: str) -> str:
    return f"the {rank} side ({side})" if rank else f"the {side} side"


def _crossing(verdict: Verdict) -> str:
    before, now = verdict.baseline, verdict.latest
    if before is None or now is None or before * now >= 0:
        return ""
    return f"The larger side changed: {side_words(before)} at baseline, {side_words(now)} now."
