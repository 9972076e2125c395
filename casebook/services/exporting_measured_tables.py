"""Visits, values, asymmetries and outcomes of some runners, as they leave."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
import pandas as pd

from casebook.domain.export_tables import NO, NOT_RECORDED, WITHHELD, YES
from casebook.domain.exporting import Kind
from casebook.domain.metrics import AsymmetryForm, Metric
from casebook.domain.verdicts import What
from casebook.services.exporting_measured import CONDITIONS, Measured, Measuring
from casebook.statistics.codes import (
    CALLS,
    MOVED,
    ORIGINS,
    REASONS,
    WHATS,
    Floats,
    Whole,
    code_of,
)

SIDES: Final = ("left", "right", "none")
SAME: Final = {
    "same_surface": "surface",
    "same_footwear": "footwear",
    "same_view": "view",
    "same_assessor": "assessor",
}
# Decimals beyond the step that an instrument can be read to.
_MORE_DECIMALS, _UNKNOWN_DECIMALS, _PERCENT_DECIMALS, _LOG_DECIMALS = 1, 3, 2, 4
_P_DECIMALS: Final = 4


def measured_tables(
    about: Measuring, found: Measured, runners: pd.Series
) -> dict[str, pd.DataFrame]:
    """Rows of visits, values, asymmetries and outcomes of some runners.

    Parameters
    ----------
    found : Measured
        Without what gives something away (`exporting_hidden.without_giveaways`).
    runners : Series of str
        Pseudonyms by runner id.

    Returns
    -------
    dict of str to DataFrame
        By table, in the runners' order, then by day, metric and side.
    """
    own = np.array(
        [about.key.pseudonym(Kind.VISIT, one) for one in found.visits["visit"]], dtype=object
    )
    return {
        "visits": _visits_table(about, found.visits, own, runners),
        "values": _values_table(about, found, own),
        **_judged_tables(about, found, own),
    }


def _visits_table(
    about: Measuring, visits: pd.DataFrame, own: np.ndarray, runners: pd.Series
) -> pd.DataFrame:
    first = visits["runner"].map({one: pd.Timestamp(day) for one, day in about.first.items()})
    table = pd.DataFrame(
        {
            "visit": own,
            "runner": runners.reindex(visits["runner"]).to_numpy(),
            "day": (visits["visited_on"] - first).dt.days,
            "kind": visits["kind"],
            "baseline": visits["reference"],
        }
    )
    for column, step in CONDITIONS:
        table[column] = _drawn_in(visits[column], step, about.ends.get(column))
    table["pain_today"] = visits["pain_today"].round(1)
    at_first = visits[visits["reference"]].drop_duplicates("runner").set_index("runner")
    for name, column in SAME.items():
        then = at_first[column].reindex(visits["runner"]).fillna("").to_numpy(dtype=object)
        now = visits[column].to_numpy(dtype=object)
        known = (then != "") & (now != "")
        table[name] = np.where(known, np.where(then == now, YES, NO), NOT_RECORDED)
    if about.settings.clinicians:
        table["clinician"] = visits["assessor"].map(about.clinicians).astype(object)
    return table


def _drawn_in(numbers: pd.Series, step: float, ends: tuple[float, float] | None) -> pd.Series:
    if ends is None:  # fewer than k runners have one at all
        return pd.Series(np.full(len(numbers), np.nan), index=numbers.index)
    return ((numbers / step).round() * step).clip(*ends)


def _values_table(about: Measuring, found: Measured, own: np.ndarray) -> pd.DataFrame:
    values, place = found.values, found.place
    decimals = np.array([_decimals(metric) for metric in about.metrics])
    metric = values["metric"].to_numpy()
    read = pd.DataFrame(
        {
            "place": place.reindex(values["visit"]).to_numpy(),
            "metric": metric,
            "side": values["side"],
            "mean": _rounded(values["mean"].to_numpy(), decimals[metric]),
            "sd": _rounded(values["sd"].to_numpy(), decimals[metric] + 1),
            "trials": values["n"],
            "missing": pd.Series([None] * len(values), dtype=object),
        }
    )
    gaps = found.missing
    lacking = pd.DataFrame(
        {
            "place": place.reindex(gaps["visit"]).to_numpy(),
            "metric": gaps["metric"].to_numpy(),
            "side": gaps["side"].to_numpy(),
            "mean": np.nan,
            "sd": np.nan,
            "trials": 0,
            "missing": _reasons(about, found),
        }
    )
    both = pd.concat([read, lacking], ignore_index=True) if len(lacking) else read
    both = both.sort_values(["place", "metric", "side"], kind="stable")
    return pd.DataFrame(
        {
            "visit": own[both["place"].to_numpy()],
            "metric": _named(about, both["metric"]),
            "side": _coded(both["side"], SIDES),
            "mean": both["mean"].to_numpy(),
            "sd": both["sd"].to_numpy(),
            "trials": both["trials"].to_numpy(),
            "missing": both["missing"].to_numpy(),
        }
    )


def _reasons(about: Measuring, found: Measured) -> np.ndarray:
    """Why values are missing, but where it gives a side back: the painful one is the hurt one."""
    gaps = found.missing
    runners = found.visits["runner"].to_numpy()[found.place.reindex(gaps["visit"]).to_numpy()]
    told = np.isin(runners, list(about.side_exact)) | (gaps["side"] == SIDES.index("none"))
    return np.where(told, gaps["reason"].to_numpy(dtype=object), WITHHELD)


def _judged_tables(about: Measuring, found: Measured, own: np.ndarray) -> dict[str, pd.DataFrame]:
    asymmetry, judged, place = code_of(What.ASYMMETRY), found.judged, found.place
    measures = judged.measures
    measures = measures[(measures["what"] == asymmetry) & measures["value"].notna()]
    measures = _in_order(measures, place)
    decimals = _asymmetry_decimals(about.metrics)[measures["metric"].to_numpy()]
    verdicts = _in_order(judged.verdicts, place)
    metric = verdicts["metric"].to_numpy()
    plain = np.array([_decimals(one) for one in about.metrics])
    of_verdict = np.where(
        verdicts["what"] == asymmetry, _asymmetry_decimals(about.metrics)[metric], plain[metric]
    )
    return {
        "asymmetries": pd.DataFrame(
            {
                "visit": own[measures["place"].to_numpy()],
                "metric": _named(about, measures["metric"]),
                "asymmetry": _rounded(measures["value"].to_numpy(), decimals),
                "sem": _rounded(measures["sem"].to_numpy(), decimals + 1),
                "error_origin": _coded(measures["origin"], ORIGINS),
            }
        ),
        "outcomes": pd.DataFrame(
            {
                "visit": own[verdicts["place"].to_numpy()],
                "metric": _named(about, verdicts["metric"]),
                "what": _coded(verdicts["what"], WHATS),
                "change": _rounded(verdicts["change"].to_numpy(), of_verdict),
                "se_change": _rounded(verdicts["se_change"].to_numpy(), of_verdict + 1),
                "mdc95": _rounded(verdicts["mdc95"].to_numpy(), of_verdict + 1),
                "verdict": _coded(verdicts["call"], CALLS),
                "reason": _coded(verdicts["reason"], REASONS),
                "side_moved": _coded(verdicts["moved"], MOVED),
                "p_better": verdicts["p_better"].round(_P_DECIMALS).to_numpy(),
            }
        ),
    }


def _in_order(frame: pd.DataFrame, place: pd.Series) -> pd.DataFrame:
    ordered = frame.assign(place=place.reindex(frame["visit"]).to_numpy())
    return ordered.sort_values(["place", "metric", "what"], kind="stable")


def _named(about: Measuring, metric: pd.Series) -> pd.Series:
    return _coded(metric, (one.key for one in about.metrics))


def _coded(codes: pd.Series, words: Iterable[str]) -> pd.Series:
    """Codes as their words, -1 as missing; the index starts anew."""
    categories = pd.CategoricalDtype([str(one) for one in words])
    coded = pd.Categorical.from_codes(codes.to_numpy(dtype=np.int64), dtype=categories)
    return pd.Series(coded)


def _decimals(metric: Metric) -> int:
    """Decimals to which a mean leaves: one more than it can be read to."""
    if metric.resolution <= 0:
        return _UNKNOWN_DECIMALS
    return max(0, int(np.ceil(-np.log10(metric.resolution)))) + _MORE_DECIMALS


def _asymmetry_decimals(metrics: Sequence[Metric]) -> Whole:
    forms = {
        AsymmetryForm.PERCENT: _PERCENT_DECIMALS,
        AsymmetryForm.LOG_RATIO: _LOG_DECIMALS,
    }
    return np.array(
        [forms.get(one.asymmetry_form, _decimals(one)) for one in metrics], dtype=np.int64
    )


def _rounded(numbers: Floats, decimals: Whole) -> Floats:
    found = np.full(len(numbers), np.nan)
    for one in np.unique(decimals):
        rows = decimals == one
        found[rows] = np.round(numbers[rows], int(one))
    return found
