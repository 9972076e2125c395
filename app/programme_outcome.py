"""What changed about a programme: the paragraph, and the measures behind it side by side."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from app import state
from app.messages import plain
from casebook.domain.metrics import Metric
from casebook.domain.programme_effects import MetricEffect, Phase, Step
from casebook.domain.programme_words import (
    NOT_WHY,
    asymmetry_answers,
    call_words,
    counts_words,
    effect_sentence,
    programme_said,
)
from casebook.domain.verdicts import Call, What
from casebook.domain.wording import (
    asymmetry_unit,
    number_words,
    side_words,
    unit_words,
    upper_first,
)
from casebook.services.keeping import Casebook
from casebook.services.outcomes import ToldEffect, programme_effect
from casebook.services.prescribing import StoredPrescription

# The strongest come first; the rest is folded away below them.
SHOWN_AGAINST = 4
SHORT = {What.LEFT: "left", What.RIGHT: "right", What.NONE: "", What.ASYMMETRY: "asymmetry"}


def told_effect(casebook: Casebook, stored: StoredPrescription) -> ToldEffect:
    """What changed about a programme, with what was to be expected by itself."""
    return programme_effect(casebook, stored.programme_id, norms=state.clinic_baselines(casebook))


def show_answer(told: ToldEffect) -> None:
    """One paragraph made of the numbers, and what argues against it."""
    short = asymmetry_answers(told.effect, told.metrics)
    question = "Did it reduce the asymmetry?" if short else "What changed, and how sure that is"
    st.subheader(question, anchor=False)
    if not _anything(told):
        st.caption(
            "Nothing can be said yet: it takes a visit up to its start and one after it that "
            "measured the same."
        )
        return
    if short:
        st.markdown("\n".join(f"- **{plain(one)}**" for one in short))
    # The paragraph's own sentences; what speaks against it stands as a list.
    said = programme_said(told.effect, told.metrics)
    body = plain(" ".join(one for one in (said.opening, *said.measures, said.beside) if one))
    answer = plain(counts_words(told.effect.targeted))
    # The answer stands out: the numbers behind it take longer to read than there is time.
    st.markdown(body.replace(answer, f"**{answer}**", 1) if answer else body)
    with st.container(border=True, key="against"):
        first, more = said.against[:SHOWN_AGAINST], said.against[SHOWN_AGAINST:]
        st.markdown(f"**{said.lead}**\n{_listed(first)}")
        if more:
            with st.expander(f"{len(more)} more", icon=":material/balance:"):
                st.markdown(_listed(more))
    st.markdown(f"**{NOT_WHY}**")


def show_measures(told: ToldEffect) -> None:
    """The numbers behind the answer, the targeted measures beside the others."""
    if _anything(told):
        st.subheader("The measures side by side", anchor=False)
        _show_measures(told)


def _anything(told: ToldEffect) -> bool:
    return any(effect.change is not None for effect in told.effect.effects)


def _listed(reasons: tuple[str, ...]) -> str:
    return "\n".join(f"- {plain(upper_first(one))}." for one in reasons)


def _show_measures(told: ToldEffect) -> None:
    targeted = [effect for effect in told.effect.effects if effect.targeted]
    others = [effect for effect in told.effect.effects if not effect.targeted]
    st.markdown("**Targeted measures**")
    _table(told, targeted, "targeted", "None is set, or none was measured.")
    if told.effect.own_sides_moved:
        st.markdown("**The same measures where they were no target**, and changed beyond error")
        _table(told, list(told.effect.own_sides_moved), "own_sides", "")
    counts = told.effect.others
    st.markdown("**Measures that it was not meant to change**, the comparison within this runner")
    st.markdown(f"{(counts_words(counts) or 'none was measured').capitalize()}.")
    moved = [one for one in others if one.call in {Call.IMPROVED, Call.WORSENED}]
    if moved:
        _table(told, moved, "moved", "")
    still = [one for one in others if one not in moved]
    if still:
        with st.expander(f"The others ({len(still)})", icon=":material/table:"):
            _table(told, still, "others", "")
    with st.expander("Each measure in a sentence, with level and slope", icon=":material/notes:"):
        st.markdown(
            "\n".join(
                f"- {plain(effect_sentence(one, told.metrics[one.metric]))}"
                f"{f' :gray[{plain(one.lacking)}]' if one.lacking else ''}"
                for one in (*targeted, *told.effect.own_sides, *others)
            )
        )


def _table(told: ToldEffect, effects: list[MetricEffect], key: str, none: str) -> None:
    if not effects:
        st.caption(none)
        return
    with st.container(key=f"effects_{key}"):
        st.table(
            pd.DataFrame([_row(one, told.metrics[one.metric]) for one in effects]),
            border="horizontal",
            hide_index=True,
        )


def _row(effect: MetricEffect, metric: Metric) -> dict[str, str]:
    unit = unit_words(metric.unit)
    if effect.what is What.ASYMMETRY:
        unit = asymmetry_unit(metric.asymmetry_form, metric.unit)
    before, during, after = (_phase(phase, effect.what, unit) for phase in effect.phases)
    place = SHORT[effect.what]
    return {
        "Measure": plain(f"{metric.label}{f', {place}' if place else ''}"),
        "Verdict": call_words(effect),
        "Before": plain(before),
        "During": plain(during),
        "After": plain(after),
        "Last visit against before (95 % interval)": plain(_step(effect.change, unit)),
    }


def _phase(phase: Phase, what: What, unit: str) -> str:
    if phase.mean is None:
        return "–"
    if what is What.ASYMMETRY:
        value = f"{number_words(abs(phase.mean), unit)} ({side_words(phase.mean)})"
    else:
        value = number_words(phase.mean, unit)
    return f"{value}, {phase.visits} visit{'' if phase.visits == 1 else 's'}"


def _step(step: Step | None, unit: str) -> str:
    if step is None:
        return "–"
    change = number_words(step.change, unit, signed=True)
    if step.within is not None:
        return f"{change} (up to {number_words(step.within, unit)} is within error)"
    if step.low is None or step.high is None:
        return f"{change} (error not known)"
    low, high = (number_words(end, unit, signed=True) for end in (step.low, step.high))
    return f"{change} ({low} to {high})"
