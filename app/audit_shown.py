"""What an audit says, shown: the flow of runners, completeness, outcomes, who was lost."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from app import state
from app.messages import plain
from casebook.charts.cohort_outcomes import OutcomeRow, outcome_shares
from casebook.domain.audit import Completeness
from casebook.domain.audit_outcomes import Audit, GroupOutcome, MetricOutcome, On, Split
from casebook.domain.audit_words import (
    EXCLUDED,
    LEVELS,
    ONS,
    REGRESSION,
    SPLITS,
    STEPS,
    WITHHELD,
    amount_words,
    count_words,
    part_words,
    reason_words,
)
from casebook.domain.wording import SIDES_MOVED, number_words

Rows = list[dict[str, str]]


def table(rows: Rows, alt: str) -> None:
    """Rows of words as a table that scrolls by itself where it is too wide."""
    with st.container(key=f"audit_table_{alt.lower().replace(' ', '_').replace(',', '')}"):
        st.table(pd.DataFrame(rows), border="horizontal", hide_index=True, alt=alt)


def upper_first(words: str) -> str:
    """Words as the beginning of a line."""
    return f"{words[:1].upper()}{words[1:]}"


def missing_words(one: Completeness) -> str:
    """Why values of a metric are missing, each reason with its number."""
    return "; ".join(f"{reason_words(why)} {count_words(n)}" for why, n in one.reasons) or "–"


def on_words(on: On) -> str:
    """What an outcome is about, on a button."""
    return upper_first(ONS[on])


def show_flow(audit: Audit) -> None:
    """Who came in, who was left out and why, and how far they went."""
    st.subheader("The flow of runners", anchor=False)
    left, right = st.columns([1.1, 1])
    with left:
        table(
            [
                {"Step": upper_first(STEPS[step]), "Runners": count_words(n)}
                for step, n in audit.flow.steps
            ],
            "Steps of the flow",
        )
    with right:
        if audit.flow.excluded:
            table(
                [
                    {"Left out because": upper_first(EXCLUDED[why]), "Runners": count_words(n)}
                    for why, n in audit.flow.excluded
                ],
                "Left out",
            )
        else:
            st.caption("Nobody who is registered was left out.")
    _show_timeliness(audit)


def _show_timeliness(audit: Audit) -> None:
    st.subheader("Seen again", anchor=False)
    days = audit.timeliness.days_to_review
    first = (
        "Time to the first review can't be told: too few runners were reviewed."
        if days is None
        else f"From the programme's start to the first review: **{days[1]:.0f} days** (median; "
        f"half of the runners between {days[0]:.0f} and {days[2]:.0f}), "
        f"{count_words(audit.timeliness.reviewed)} runners."
    )
    st.markdown(
        f"- {first}\n- Planned visits kept in time: {plain(part_words(audit.timeliness.in_time))}."
    )


def show_completeness(audit: Audit) -> None:
    """How complete each metric is, and why values are missing."""
    st.subheader("Completeness by metric", anchor=False)
    rows = [
        {
            "Metric": plain(one.label),
            "At the baseline": part_words(one.baseline),
            "At the outcome": part_words(one.outcome),
            "Why missing": "; ".join(
                f"{reason_words(why)} {count_words(n)}" for why, n in one.reasons
            )
            or "–",
        }
        for one in audit.completeness
    ]
    if rows:
        table(rows, "Completeness by metric")
    else:
        st.caption("No metric was measured in this cohort.")


def show_outcomes(audit: Audit) -> None:
    """What became of each metric: shares as a chart, the numbers as a table."""
    st.subheader("Outcomes", anchor=False)
    offered = [on for on in On if any(one.on is on for one in audit.outcomes)]
    if not offered:
        st.caption("No runner of this cohort was measured before and after the programme's start.")
        return
    first, second = st.columns(2)
    on = first.segmented_control(
        "Of",
        offered,
        default=offered[0],
        format_func=on_words,
        key="audit_on",
        required=True,
    )
    split = second.segmented_control(
        "Divided by",
        list(Split),
        default=Split.NONE,
        format_func=lambda one: upper_first(SPLITS[one]),
        key="audit_split",
        required=True,
    )
    found = [one for one in audit.outcomes if one.on is on]
    rows = [
        OutcomeRow(label=_name(one, group), improved=group.improved, worsened=group.worsened)
        for one in found
        for group in _groups(one, Split(split))
        if not group.withheld and group.improved.share is not None
    ]
    if rows:
        st.vega_lite_chart(
            spec=outcome_shares(rows, palette=state.palette()), theme=None, key="chart_outcomes"
        )
    else:
        st.info("Every group is smaller than is shown.", icon=":material/visibility_off:")
    table(
        [_outcome_row(one, group) for one in found for group in _groups(one, Split(split))],
        "Outcomes in numbers",
    )
    st.caption(REGRESSION)
    if on is On.ASYMMETRY:
        _show_moved(found, Split(split))


def _groups(one: MetricOutcome, split: Split) -> tuple[GroupOutcome, ...]:
    return dict(one.splits).get(split, ())


def _name(one: MetricOutcome, group: GroupOutcome) -> str:
    level = LEVELS[group.level]
    return f"{one.label}, {level}" if level else one.label


def _outcome_row(one: MetricOutcome, group: GroupOutcome) -> dict[str, str]:
    if group.withheld:
        return {"Metric": plain(_name(one, group)), "Improved": WITHHELD} | dict.fromkeys(
            (
                "No change beyond error",
                "Worsened",
                "Can't say",
                "Beyond what matters",
                "Mean change towards better",
                "Expected by itself",
            ),
            WITHHELD,
        )
    regression = (
        "–" if group.regression is None else number_words(group.regression, one.unit, signed=True)
    )
    return {
        "Metric": plain(_name(one, group)),
        "Improved": part_words(group.improved),
        "No change beyond error": part_words(group.unchanged),
        "Worsened": part_words(group.worsened),
        "Can't say": part_words(group.cannot_say),
        "Beyond what matters": "–" if group.important is None else part_words(group.important),
        "Mean change towards better": plain(amount_words(group.change, one.unit, signed=True)),
        "Expected by itself": plain(regression),
    }


def _show_moved(found: list[MetricOutcome], split: Split) -> None:
    """Of asymmetries that shrank: the worse side gaining is the wish, the better falling is not."""
    rows = [
        {"Metric": plain(_name(one, group))}
        | {SIDES_MOVED[moved].capitalize(): part_words(part) for moved, part in group.moved}
        for one in found
        for group in _groups(one, split)
        if group.moved
    ]
    if rows:
        st.markdown("**Of the asymmetries that shrank beyond error: which side moved**")
        table(rows, "Which side moved")


def show_lost(audit: Audit) -> None:
    """How those who were lost differed at the baseline."""
    st.subheader("Who was lost, and how they differed at the baseline", anchor=False)
    if not audit.lost:
        st.caption("Too few runners were lost, or followed, for a comparison.")
        return
    table(
        [
            {
                "Measure": plain(one.label),
                "Lost": plain(amount_words(one.lost, one.unit)),
                "Not lost": plain(amount_words(one.followed, one.unit)),
                "Difference": plain(amount_words(one.difference, one.unit, signed=True)),
                "In standard deviations": "–"
                if one.standardised is None
                else number_words(one.standardised, "", signed=True),
            }
            for one in audit.lost
        ],
        "Lost and followed",
    )
    st.caption(
        "Where those who were lost differ, the outcomes above tell of those who came back only."
    )
