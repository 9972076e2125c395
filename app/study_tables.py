"""The numbers of a repeatability study as tables and short sentences."""

from __future__ import annotations

import math
import re

import pandas as pd
import streamlit as st

from app.messages import plain
from app.tables import show_stacked
from casebook.domain.wording import number_words
from casebook.services.repeating import Study
from casebook.statistics.error import LEVEL, z_two_sided
from casebook.statistics.repeatability.results import (
    Detectable,
    Grading,
    Interval,
    Repeatability,
)

UNIT_GAP = re.compile(r"(?<=\d) (?=\S)")
ICC_WORDS = {
    "ICC(1,1)": "one reading; each runner by other raters or sessions",
    "ICC(2,1)": "one reading; a shift between sessions counts as error (agreement)",
    "ICC(3,1)": "one reading; a shift that all share does not count (consistency)",
    "ICC(1,k)": "mean of all sessions; each runner by other raters or sessions",
    "ICC(2,k)": "mean of all sessions; a shift counts as error (agreement)",
    "ICC(3,k)": "mean of all sessions; a shift that all share does not count (consistency)",
}


def told(number: float, unit: str = "", *, signed: bool = False) -> str:
    """A number with its unit; a dash where it can't be told."""
    return number_words(number if math.isfinite(number) else None, unit, signed=signed)


def error_of_visit(found: Repeatability) -> Interval:
    """SEM of a visit's mean as it would be adopted: from its parts where they are known."""
    if found.nested is not None and math.isfinite(found.nested.between_sd.estimate):
        return found.nested.sem_of_mean
    return found.sem_agreement


def mdc_of(sem: float) -> float:
    """MDC95 of a change between two visits that have this SEM."""
    return z_two_sided(LEVEL) * math.sqrt(2.0) * sem


def _table(rows: list[dict[str, str]], alt: str) -> None:
    first = next(iter(rows[0]))
    shown = [
        {
            # A number keeps its unit on its line.
            name: plain(words if name == first else UNIT_GAP.sub("\u00a0", words))
            for name, words in row.items()
        }
        for row in rows
    ]
    st.table(pd.DataFrame(shown), border="horizontal", hide_index=True, alt=alt)


def _row(name: str, interval: Interval, unit: str) -> dict[str, str]:
    return {
        "": name,
        "Estimate": told(interval.estimate, unit),
        "95 % from": told(interval.low, unit),
        "to": told(interval.high, unit),
    }


def show_components(found: Repeatability, unit: str) -> None:
    """How much runners truly differ, and how much days and trials add, as standard deviations."""
    parts, nested = found.components, found.nested
    if nested is not None:
        _table(
            [
                {
                    "": "Runners truly differ from one another",
                    "SD": told(nested.subject_sd, unit),
                    "95 % interval": "",
                },
                _part("The same runner, from session to session", nested.between_sd, unit),
                _part("The same runner, from trial to trial", nested.within_sd, unit),
            ],
            "Parts of the spread, with trials",
        )
        st.caption(plain(_parts_words(found, unit)))
    elif parts is not None:
        _table(
            [
                {"": name, "SD": told(math.sqrt(variance), unit)}
                for name, variance in (
                    ("Runners truly differ from one another", parts.subject),
                    ("A shift that all runners share between sessions", parts.occasion),
                    ("What is left: the error of one runner's measurement", parts.error),
                )
            ],
            "Parts of the spread",
        )
        st.caption(
            "Single trials are not known, so the error from session to session and that from "
            "trial to trial can't be told apart."
        )
    else:
        st.caption("There is no second session, so the error between sessions can't be told.")
    if found.raters is not None:
        _show_raters(found, unit)


def _part(name: str, interval: Interval, unit: str) -> dict[str, str]:
    known = math.isfinite(interval.low) and math.isfinite(interval.high)
    reach = f"{told(interval.low, unit)} to {told(interval.high, unit)}" if known else "–"
    return {"": name, "SD": told(interval.estimate, unit), "95 % interval": reach}


def _parts_words(found: Repeatability, unit: str) -> str:
    nested = found.nested
    if nested is None:
        return ""
    between, within = nested.between_sd.estimate, nested.within_sd.estimate
    if not math.isfinite(between):
        return "With one session only, what another day adds can't be told."
    trials = (within / between) ** 2 if between > 0 else math.inf
    more = (
        "More trials a visit would help little: most of the error comes from session to session."
        if trials / max(nested.trials, 1.0) < 0.5
        else "More trials a visit would make it smaller."
    )
    return f"The error of one trial is {told(nested.sem_single.estimate, unit)}. {more}"


def _show_raters(found: Repeatability, unit: str) -> None:
    if found.raters is None:
        return
    raters = found.raters
    st.markdown(
        plain(
            f"The same rater on another day: SEM {told(raters.sem_same_rater, unit)}. Another "
            f"rater on the same day: {told(raters.sem_same_session, unit)}. Another rater on "
            f"another day: {told(raters.sem_other_rater_and_session, unit)}."
        )
    )


def show_numbers(found: Repeatability, unit: str) -> None:
    """SEM and MDC of every kind, with their intervals."""
    rows = [
        _row("SEM for agreement (a shift counts)", found.sem_agreement, unit),
        _row("SEM for consistency (a shared shift left out)", found.sem_consistency, unit),
        _row("SEM from the spread within runners", found.sem_one_way, unit),
    ]
    for level, detectable in ((90, found.mdc90), (95, found.mdc95)):
        rows += _detectable_rows(level, detectable, unit)
    _table(rows, "Standard error of measurement and minimal detectable change")
    st.caption(
        "SEM: standard error of measurement. MDC: the change between two measurements that error "
        "alone stays within in 90 or 95 of 100 cases."
    )
    if error_of_visit(found) is not found.sem_agreement:
        st.caption(
            "The limit at the top of the page takes the error from its parts, the sessions and "
            "the trials of each runner; its interval counts a shift that all share as if it were "
            "each runner's own. The intervals for agreement ask how far sessions in general may "
            "shift for all: with few sessions that is hardly known, and their upper ends are high."
        )


def _detectable_rows(level: int, found: Detectable, unit: str) -> list[dict[str, str]]:
    agreement = Interval(
        estimate=found.agreement, low=found.agreement_low, high=found.agreement_high
    )
    consistency = Interval(
        estimate=found.consistency, low=found.consistency_low, high=found.consistency_high
    )
    return [
        _row(f"MDC{level} for agreement", agreement, unit),
        _row(f"MDC{level} for consistency", consistency, unit),
    ]


def show_icc(found: Repeatability) -> None:
    """The six forms, each with what it is for."""
    if not found.icc:
        st.caption("There is no intraclass correlation without a second session and runner.")
        return
    show_stacked(
        pd.DataFrame(
            {
                "Form": form,
                "For": ICC_WORDS.get(form, ""),
                "Estimate": _share(interval.estimate),
                "95 % interval": f"{_share(interval.low)} to {_share(interval.high)}",
            }
            for form, interval in found.icc.items()
        ),
        key="study_icc",
        alt="Intraclass correlations",
    )
    st.caption(
        "The share of the spread that is true differences between these runners. It says how "
        "well runners are told apart, not how large the error is: it is high in a mixed group and "
        "low in an alike one, with the same error."
    )


def _share(number: float) -> str:
    return f"{number:.2f}".replace("-", "−") if math.isfinite(number) else "–"


def show_grading(grading: Grading) -> None:
    """Kappa in three weightings, and how far apart repeat grades lay."""
    _table(
        [
            {
                "Kappa": name,
                "Estimate": _share(kappa.estimate),
                "95 % interval": f"{_share(kappa.low)} to {_share(kappa.high)}",
            }
            for name, kappa in (
                ("weighted, a wide disagreement counts much more (quadratic)", grading.quadratic),
                ("weighted in proportion (linear)", grading.linear),
                ("unweighted", grading.unweighted),
            )
        ],
        "Agreement of grades",
    )
    steps = "; ".join(
        f"{100 * share:.0f} % {_apart(step)}"
        for step, share in enumerate(grading.step_shares)
        if share > 0
    )
    st.caption(plain(f"Of {grading.pairs} pairs: {steps}. Kappa is agreement beyond chance."))


def _apart(step: int) -> str:
    return "the same" if step == 0 else f"{step} grade{'s' * (step > 1)} apart"


def show_sides(study: Study) -> None:
    """SEM and MDC of each side and of the asymmetry, and whether their errors go together."""
    sides = study.sides
    if sides is None:
        return
    _table(
        [
            {
                "": name,
                "SEM": told(sem.estimate, unit),
                "95 % interval": f"{told(sem.low, unit)} to {told(sem.high, unit)}",
                "MDC95": told(mdc_of(sem.estimate), unit),
            }
            for name, sem, unit in (
                ("◀ left", error_of_visit(sides.left), study.unit),
                ("▶ right", error_of_visit(sides.right), study.unit),
                ("right − left", error_of_visit(sides.asymmetry), study.asymmetry_unit),
            )
        ],
        "Error of each side and of the asymmetry",
    )
    st.caption(
        f"{plain(_together_words(study))} MDC95: the change between two visits that error alone "
        "stays within in 95 of 100 cases."
    )
    if sides.asymmetry.warnings:
        with st.expander("What to beware of in right minus left", icon=":material/warning:"):
            st.markdown("\n".join(f"- {plain(words)}" for words in sides.asymmetry.warnings))


def _together_words(study: Study) -> str:
    sides = study.sides
    if sides is None or not math.isfinite(sides.error_correlation):
        return "Whether the errors of left and right go together can't be told from this study."
    squared = f"{study.unit}²" if study.unit else ""
    numbers = (
        f"(correlation {_share(sides.error_correlation)}, covariance "
        f"{told(sides.error_covariance, squared)})"
    )
    if sides.error_correlation > 0:
        return (
            f"The errors of left and right of one session tend to go the same way {numbers}, so "
            "part of them cancels in right minus left: its error is smaller than from two "
            "independent sides."
        )
    return (
        f"The errors of left and right of one session do not go the same way {numbers}, so none "
        "of them cancels in right minus left."
    )
