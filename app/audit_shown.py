"""What an audit says, shown: the flow of runners, completeness, outcomes, who was lost."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
import streamlit as st

from app import state
from app.messages import plain
from casebook.charts.cohort_outcomes import OutcomeRow, outcome_shares
from casebook.domain.audit import Step
from casebook.domain.audit_outcomes import Audit, MetricOutcome, On, Split
from casebook.domain.audit_tables import (
    INTERVALS,
    OUTCOMES,
    completeness_grid,
    left_out,
    lost_grid,
    lost_left_out,
    moved_grid,
    outcome_grid,
    shown_groups,
)
from casebook.domain.audit_words import (
    EXCLUDED,
    LEVELS,
    REGRESSION,
    SPLITS,
    STEPS,
    count_words,
    part_words,
    review_words,
    withheld_words,
)
from casebook.domain.summaries import Grid
from casebook.domain.wording import upper_first

Rows = list[dict[str, str]]
# Short enough for buttons side by side.
ON_BUTTONS = {
    On.ASYMMETRY: "Asymmetry",
    On.WORSE_SIDE: "Worse side",
    On.OTHER_SIDE: "Other side",
    On.VALUE: "Without sides",
}
SPLIT_BUTTONS = {
    Split.NONE: "Nothing",
    Split.PROGRAMME_KIND: "Kind of programme",
    Split.ADHERENCE_THIRD: "Adherence",
}
SHOWN = ("audit_part", "audit_on", "audit_split", "audit_drawn", "audit_funnel")


def table(rows: Rows, alt: str) -> None:
    """Rows of words as a table that scrolls by itself where it is too wide."""
    with st.container(key=f"audit_table_{_name(alt)}"):
        st.table(pd.DataFrame(rows), border="horizontal", hide_index=True, alt=alt)


def show_grid(grid: Grid, alt: str) -> None:
    """A table of which numbers are never broken; it scrolls by itself where it is too wide."""
    kind = "numbers" if grid.numbers else "words"
    rows = [
        dict(zip(grid.columns, (plain(cell) for cell in row), strict=True)) for row in grid.rows
    ]
    with st.container(key=f"audit_table_{kind}_{_name(alt)}"):
        st.table(pd.DataFrame(rows), border="horizontal", hide_index=True, alt=alt)


def _name(alt: str) -> str:
    return alt.lower().replace(" ", "_").replace(",", "")


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
    if dict(audit.flow.steps)[Step.INCLUDED].n == 0 and audit.flow.excluded:
        st.info(
            "No runner fits this choice; the table says why each was left out.",
            icon=":material/person_off:",
        )
    if any(n.n is None for _, n in (*audit.flow.steps, *audit.flow.excluded)):
        words = withheld_words(audit.choice.least_group)
        st.caption(f"{upper_first(words)}. The size is chosen above, as the smallest group shown.")
    _show_timeliness(audit)


def _show_timeliness(audit: Audit) -> None:
    st.subheader("Seen again", anchor=False)
    st.markdown(
        "- From the programme's start to the first review: "
        f"{review_words(audit.timeliness, audit.choice)}.\n"
        f"- Planned visits kept at most {audit.choice.grace_days} days late: "
        f"{plain(part_words(audit.timeliness.in_time))}."
    )


def show_completeness(audit: Audit) -> None:
    """How complete each metric is, and why values are missing."""
    st.subheader("Completeness by metric", anchor=False)
    if not audit.completeness:
        st.caption("No metric was measured in this cohort.")
        return
    st.caption("Runners with a value, of those who were seen then; the least complete first.")
    show_grid(completeness_grid(audit.completeness), "Completeness by metric")


def show_outcomes(audit: Audit) -> None:
    """What became of each metric: shares as a chart, the numbers as a table."""
    st.subheader("Outcomes", anchor=False)
    offered = [on for on in On if any(one.on is on for one in audit.outcomes)]
    if not offered:
        st.caption("No runner of this cohort was measured before and after the programme's start.")
        return
    state.choose_first("audit_on", offered)
    state.choose_first("audit_split", list(Split))
    on = st.segmented_control(
        "Of", offered, format_func=ON_BUTTONS.__getitem__, key="audit_on", required=True
    )
    split = st.segmented_control(
        "Divided by",
        list(Split),
        format_func=SPLIT_BUTTONS.__getitem__,
        key="audit_split",
        required=True,
    )
    chosen = [one for one in audit.outcomes if one.on is On(on or offered[0])]
    _show_outcomes_of(chosen, Split(split or Split.NONE), audit)


def _show_outcomes_of(found: Sequence[MetricOutcome], split: Split, audit: Audit) -> None:
    hidden = left_out(found, split, audit.choice.least_group)
    drawn = _to_draw(found, split)
    rows = [
        OutcomeRow(
            label=one.label if split is Split.NONE else upper_first(LEVELS[group.level]),
            improved=group.improved,
            worsened=group.worsened,
        )
        for one in drawn
        for group in shown_groups(one, split)
        if group.improved.share is not None
    ]
    if not rows:
        why = f" by {SPLITS[split]}" if split is not Split.NONE else ""
        st.info(
            f"No share can be told{why}: too few runners have a verdict. {hidden}",
            icon=":material/visibility_off:",
        )
    else:
        st.vega_lite_chart(
            spec=outcome_shares(rows, palette=state.palette()), theme=None, key="chart_outcomes"
        )
    grid = outcome_grid(found, split)
    if grid.rows:
        show_grid(grid, "Outcomes in numbers")
        st.caption(OUTCOMES)
    if rows and hidden:
        st.caption(hidden)
    if any(one.on is On.ASYMMETRY for one in found):
        _show_moved(found, split)
    st.caption(REGRESSION)


def _to_draw(found: Sequence[MetricOutcome], split: Split) -> list[MetricOutcome]:
    """All metrics side by side; divided, the groups of the one that is chosen."""
    told = {
        one.metric: one
        for one in found
        if any(group.improved.share is not None for group in shown_groups(one, split))
    }
    if split is Split.NONE or not told:
        return list(told.values())
    most = sorted(told, key=lambda key: -_with_verdict(told[key]))
    state.choose_first("audit_drawn", most)
    key = st.selectbox("Metric", most, format_func=lambda one: told[one].label, key="audit_drawn")
    return [told[key]]


def _with_verdict(one: MetricOutcome) -> int:
    return max((group.improved.total or 0 for group in shown_groups(one, Split.NONE)), default=0)


def _show_moved(found: Sequence[MetricOutcome], split: Split) -> None:
    """Of asymmetries that shrank: the worse side gaining is the wish, the better falling is not."""
    st.markdown("**Of the asymmetries that shrank beyond error: which side moved**")
    grid = moved_grid(found, split)
    if grid.rows:
        show_grid(grid, "Which side moved")
    else:
        st.caption("Too few asymmetries shrank beyond error to tell which side moved.")


def show_lost(audit: Audit) -> None:
    """How those who were lost differed at the baseline."""
    st.subheader("Who was lost, and how they differed at the baseline", anchor=False)
    if not audit.lost:
        st.caption("Too few runners were lost, or followed, for a comparison.")
        return
    grid = lost_grid(audit.lost)
    hidden = lost_left_out(audit.lost, audit.choice.least_group)
    if not grid.rows:
        st.caption(hidden)
        return
    show_grid(grid, "Lost and followed")
    st.caption(
        f"Means, n: runners behind them. {INTERVALS} In SDs: the difference in standard deviations "
        "of both groups. Where those who were lost differ, the outcomes tell of those who came "
        f"back only. {hidden}"
    )
