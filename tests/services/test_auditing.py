"""An audit of a clinic that was counted by hand, and of the demo against what is true there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t

from casebook.domain.audit import AuditChoice, Count, Excluded, OutcomeVisit, Step
from casebook.domain.audit_outcomes import Audit, GroupOutcome, On, Split
from casebook.domain.errors import InputRefused
from casebook.domain.injuries import Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.verdicts import SideMoved, What
from casebook.services import clock
from casebook.services.auditing import audit
from casebook.services.cohort import LoadedCohort, cohort_stamp, load_cohort
from casebook.services.cohort_choosing import day_number
from casebook.services.keeping import Casebook, create_casebook
from casebook.services.registering import register_runner
from casebook.services.reviewing import review_runner
from casebook.statistics.proportions import wilson
from tests.builders import a_runner
from tests.services.audited_clinic import AS_OF, PAIN, STRENGTH, audited_clinic

OPEN = AuditChoice(as_of=AS_OF, least_group=2, lost_after_days=120)


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Casebook]:
    folder = tmp_path_factory.mktemp("audited")
    casebook = create_casebook(str(folder / "casebook.sqlite"))
    yield audited_clinic(casebook, folder)
    casebook.close()


@pytest.fixture(scope="module")
def loaded(audited: Casebook) -> LoadedCohort:
    return load_cohort(audited)


def steps(found: Audit) -> dict[Step, int | None]:
    return {step: count.n for step, count in found.flow.steps}


def whole(found: Audit, metric: str, on: On) -> GroupOutcome:
    return levels(found, metric, on, Split.NONE)[""]


def levels(found: Audit, metric: str, on: On, split: Split) -> dict[str, GroupOutcome]:
    outcome = next(one for one in found.outcomes if (one.metric, one.on) == (metric, on))
    return {group.level: group for group in dict(outcome.splits)[split]}


def counts(group: GroupOutcome) -> tuple[int | None, ...]:
    parts = (group.improved, group.unchanged, group.worsened, group.cannot_say)
    return tuple(part.count for part in parts)


def test_the_flow_counts_each_runner_once(loaded: LoadedCohort) -> None:
    assert steps(audit(loaded, OPEN)) == {
        Step.REGISTERED: 15, Step.INCLUDED: 15, Step.BASELINE: 14, Step.STARTED: 13,
        Step.REVIEWED: 11, Step.DISCHARGED: 3, Step.LOST: 2, Step.IN_CARE: 10,
    }  # fmt: skip


def test_what_happened_later_is_not_seen(loaded: LoadedCohort) -> None:
    found = audit(loaded, replace(OPEN, as_of=date(2026, 2, 15)))
    assert steps(found) == {
        Step.REGISTERED: 13, Step.INCLUDED: 13, Step.BASELINE: 13, Step.STARTED: 13,
        Step.REVIEWED: 5, Step.DISCHARGED: 0, Step.LOST: 0, Step.IN_CARE: 13,
    }  # fmt: skip
    early = steps(audit(loaded, replace(OPEN, as_of=date(2026, 1, 7))))
    assert (early[Step.BASELINE], early[Step.STARTED]) == (13, 0)


@pytest.mark.parametrize(
    ("changes", "included", "excluded"),
    [
        ({"purpose": Purpose.AUDIT, "least_group": 3}, 11, {Excluded.NO_CONSENT: 4}),
        ({"kinds": (ProgrammeKind.INJURY,)}, 8, {Excluded.NO_PROGRAMME: 2, Excluded.OTHER_KIND: 5}),
        ({"regions": (Region.KNEE,)}, 8, {Excluded.OTHER_COMPLAINT: 7}),
        ({"clinicians": ("AB",)}, 10, {Excluded.OTHER_CLINICIAN: 5}),
        (
            {"started_from": date(2026, 1, 11)},
            0,
            {Excluded.NO_PROGRAMME: 2, Excluded.STARTED_OUTSIDE: 13},
        ),
        ({"started_to": date(2026, 1, 10)}, 13, {Excluded.NO_PROGRAMME: 2}),
        ({"purpose": Purpose.RESEARCH, "least_group": 3}, 0, {Excluded.NO_CONSENT: 15}),
    ],
)
def test_those_left_out_are_counted_with_the_first_reason_that_applies(
    loaded: LoadedCohort, changes: dict[str, object], included: int, excluded: dict[Excluded, int]
) -> None:
    found = audit(loaded, replace(OPEN, **changes))  # type: ignore[arg-type]
    assert steps(found)[Step.INCLUDED] == included
    assert {one: count.n for one, count in found.flow.excluded} == excluded


def test_a_consent_covers_until_its_withdrawal_and_no_audit_of_an_earlier_day_after_it(
    loaded: LoadedCohort,
) -> None:
    today = clock.today()
    march = replace(OPEN, as_of=date(2026, 3, 31), purpose=Purpose.AUDIT, least_group=3)

    def included(withdrawn: date, choice: AuditChoice) -> int | None:
        days = loaded.consents["withdrawn_day"]
        days = days.where(days.isna(), day_number(withdrawn))
        consents = loaded.consents.assign(withdrawn_day=days)
        return steps(audit(replace(loaded, consents=consents), choice))[Step.INCLUDED]

    assert included(today + timedelta(days=1), march) == 12
    assert included(today, march) == 11
    later = replace(march, as_of=today + timedelta(days=9))
    assert included(today + timedelta(days=10), later) == 12
    assert included(today + timedelta(days=9), later) == 11


def test_outcomes_tell_which_side_an_asymmetry_shrank_from(loaded: LoadedCohort) -> None:
    found = audit(loaded, replace(OPEN, visit=OutcomeVisit.FIRST))
    asymmetry = whole(found, STRENGTH, On.ASYMMETRY)
    assert counts(asymmetry) == (11, 0, 0, 0)
    assert {moved: part.count for moved, part in asymmetry.moved} == {
        SideMoved.WORSE_SIDE_GAINED: 6, SideMoved.BETTER_SIDE_FELL: 5,
        SideMoved.BOTH: 0, SideMoved.NEITHER: 0,
    }  # fmt: skip
    assert counts(whole(found, STRENGTH, On.WORSE_SIDE)) == (6, 5, 0, 0)
    assert counts(whole(found, STRENGTH, On.OTHER_SIDE)) == (0, 6, 5, 0)


def test_the_mean_change_has_its_interval_and_is_positive_towards_better(
    loaded: LoadedCohort,
) -> None:
    found = audit(loaded, replace(OPEN, visit=OutcomeVisit.FIRST))
    gains = np.array([90.0] * 6 + [0.0] * 5)
    change = whole(found, STRENGTH, On.WORSE_SIDE).change
    assert change.n == 11
    assert change.mean == pytest.approx(gains.mean())
    half = t.ppf(0.975, 10) * gains.std(ddof=1) / np.sqrt(11)
    assert change.high == pytest.approx(gains.mean() + half)
    assert whole(found, STRENGTH, On.OTHER_SIDE).change.mean == pytest.approx(-60 * 5 / 11)
    # 200 and 300 N are 40 % apart; 290 and 300 then 3.39 %, 200 and 240 then 18.18 %.
    shrank = [40 - 200 * 10 / 590] * 6 + [40 - 200 * 40 / 440] * 5
    assert whole(found, STRENGTH, On.ASYMMETRY).change.mean == pytest.approx(np.mean(shrank))


def test_a_symptom_counts_as_important_where_it_fell_by_that_much(loaded: LoadedCohort) -> None:
    pain = whole(audit(loaded, replace(OPEN, visit=OutcomeVisit.FIRST)), PAIN, On.VALUE)
    assert counts(pain) == (6, 4, 0, 0)
    assert pain.important is not None
    assert (pain.important.count, pain.important.total) == (6, 10)
    # Wilson's interval of 6 of 10, as published calculators give it.
    assert (pain.important.low, pain.important.high) == pytest.approx((0.3127, 0.8318), abs=1e-4)


def test_outcomes_are_divided_by_kind_and_by_third_of_adherence(loaded: LoadedCohort) -> None:
    found = audit(loaded, replace(OPEN, visit=OutcomeVisit.FIRST, least_group=5))
    kinds = levels(found, STRENGTH, On.WORSE_SIDE, Split.PROGRAMME_KIND)
    assert {name: counts(group) for name, group in kinds.items()} == {
        "injury": (6, 0, 0, 0), "performance": (0, 5, 0, 0),
    }  # fmt: skip
    # 3, 4, 3 and the one without adherence: all of them too small.
    thirds = levels(found, STRENGTH, On.WORSE_SIDE, Split.ADHERENCE_THIRD)
    assert set(thirds) == {"lowest", "middle", "highest", "not_recorded"}
    assert all(group.withheld for group in thirds.values())


def test_the_latest_the_first_and_the_visit_of_discharge_tell_outcomes_of_their_own(
    loaded: LoadedCohort,
) -> None:
    at = {
        visit: whole(audit(loaded, replace(OPEN, visit=visit)), STRENGTH, On.WORSE_SIDE).change
        for visit in OutcomeVisit
    }
    assert at[OutcomeVisit.FIRST].mean == pytest.approx((6 * 90) / 11)
    assert at[OutcomeVisit.LATEST].mean == pytest.approx((3 * 80 + 3 * 90) / 11)
    assert (at[OutcomeVisit.DISCHARGE].n, at[OutcomeVisit.DISCHARGE].mean) == (3, 80.0)


def test_completeness_and_its_reasons(loaded: LoadedCohort) -> None:
    found = {one.metric: one for one in audit(loaded, replace(OPEN, least_group=2)).completeness}
    assert set(found) == {STRENGTH, PAIN}
    assert (found[PAIN].baseline.count, found[PAIN].baseline.total) == (14, 14)
    assert (found[PAIN].outcome.count, found[PAIN].outcome.total) == (10, 11)
    # One value is missing: that it was not done would tell of one runner.
    assert found[PAIN].reasons == ()
    chosen = audit(loaded, replace(OPEN, metrics=("cadence",))).completeness
    assert [one.reasons for one in chosen] == [(("not_entered", Count(n=25)),)]


def test_reviews_are_timed_and_planned_visits_held_to_their_day(loaded: LoadedCohort) -> None:
    found = audit(loaded, OPEN).timeliness
    # 32, 33, ... 42 days after the start.
    assert found.days_to_review == (34.5, 37.0, 39.5)
    # For others than the clinic each at the end of its week: the day of nobody.
    others = audit(loaded, replace(OPEN, purpose=Purpose.AUDIT, least_group=3)).timeliness
    assert others.days_to_review == (35.0, 42.0, 42.0)
    # Eleven first reviews and three discharges; not the two who were lost, nor eight of May.
    assert (found.in_time.count, found.in_time.total) == (14, 24)
    strict = audit(loaded, replace(OPEN, grace_days=5)).timeliness
    assert (strict.in_time.count, strict.in_time.total) == (8, 24)
    # Three runners have two of them, so that 24 tell less than 24 of as many runners.
    assert found.in_time.low is not None
    assert found.in_time.low < wilson(14, 24).low
    # All whose time is not over are left out, though eleven were kept already.
    for day, kept in ((24, (0, 0)), (25, (11, 13))):
        early = audit(loaded, replace(OPEN, as_of=date(2026, 2, day))).timeliness.in_time
        assert (early.count, early.total) == kept


def test_who_was_lost_is_compared_with_who_was_not(loaded: LoadedCohort) -> None:
    found = {one.what: one for one in audit(loaded, OPEN).lost}
    # Born in 1992 and 1995, against 1981 to 1991 and 1993; all seen in 2026.
    others = np.array([*(2026 - year for year in range(1981, 1992)), 2026 - 1993])
    age = found["age"]
    assert age.lost.mean == 32.5
    assert age.followed.mean == pytest.approx(others.mean())
    assert age.difference.mean == pytest.approx(32.5 - others.mean())
    assert found["sex_female"].lost.mean == 0.5
    assert found["sex_female"].followed.mean == pytest.approx(7 / 12)
    assert found[f"{STRENGTH} (worse side)"].difference.mean == 0.0
    assert found["adherence"].difference.n is None
    assert audit(loaded, replace(OPEN, least_group=5)).lost == ()


def test_small_numbers_are_withheld_with_what_gives_them_away(loaded: LoadedCohort) -> None:
    found = audit(loaded, replace(OPEN, least_group=5))
    assert steps(found) == {
        Step.REGISTERED: 15, Step.INCLUDED: 15, Step.BASELINE: 14, Step.STARTED: 13,
        Step.REVIEWED: 11, Step.DISCHARGED: None, Step.LOST: None, Step.IN_CARE: None,
    }  # fmt: skip
    knees = audit(loaded, replace(OPEN, least_group=5, kinds=(ProgrammeKind.INJURY,)))
    assert dict(knees.flow.excluded) == {
        Excluded.NO_PROGRAMME: Count(n=None), Excluded.OTHER_KIND: Count(n=None),
    }  # fmt: skip
    discharged = audit(loaded, replace(OPEN, least_group=5, visit=OutcomeVisit.DISCHARGE))
    assert discharged.outcomes == ()


def test_of_an_empty_casebook_an_audit_says_so(sqlite_casebook: Casebook) -> None:
    found = audit(load_cohort(sqlite_casebook), AuditChoice(as_of=AS_OF))
    assert set(steps(found).values()) == {0}
    assert (found.completeness, found.outcomes, found.lost) == ((), (), ())
    assert (found.timeliness.days_to_review, found.timeliness.in_time.total) == (None, 0)


def test_either_database_tells_the_same(
    casebook: Casebook, loaded: LoadedCohort, tmp_path: Path
) -> None:
    found = load_cohort(audited_clinic(casebook, tmp_path))
    for name in (
        "runners", "consents", "visits", "levels", "references", "complaints", "weeks", "missing",
    ):  # fmt: skip
        ids = ["runner_id", "programme_id", "injury_id", "visit_id"]
        one, other = (
            getattr(each, name).drop(columns=ids, errors="ignore") for each in (found, loaded)
        )
        pd.testing.assert_frame_equal(one, other)
    assert replace(audit(found, OPEN), choice=OPEN) == audit(loaded, OPEN)


def test_the_stamp_moves_with_whatever_is_stored(sqlite_casebook: Casebook) -> None:
    before = cohort_stamp(sqlite_casebook)
    assert load_cohort(sqlite_casebook).stamp == before == cohort_stamp(sqlite_casebook)
    register_runner(sqlite_casebook, a_runner())
    assert cohort_stamp(sqlite_casebook) != before


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"metrics": ("hip_abductor_strengt",)}, "Did you mean 'hip_abductor_strength'?"),
        ({"metrics": ("zzz",)}, "there is no metric 'zzz'"),
        ({"clinicians": ("XY",)}, "AB, CD"),
        ({"started_from": AS_OF, "started_to": date(2026, 1, 1)}, "lies before the first"),
        ({"started_from": date(2026, 7, 1)}, "told as of 2026-06-30"),
        ({"least_group": 1}, "from 2 to"),
        ({"grace_days": -1}, "grace_days is -1"),
        ({"lost_after_days": 0}, "lost_after_days is 0"),
    ],
)
def test_a_choice_that_contradicts_itself_or_names_what_is_not_there_is_refused(
    loaded: LoadedCohort, changes: dict[str, object], expected: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        audit(loaded, replace(OPEN, **changes))  # type: ignore[arg-type]
    assert expected in str(refused.value)


def test_everything_wrong_is_told_at_once(loaded: LoadedCohort) -> None:
    with pytest.raises(InputRefused) as refused:
        audit(loaded, replace(OPEN, least_group=0, metrics=("a", "b")))
    assert len(refused.value.problems) == 3


def test_the_worse_side_of_a_cohort_is_that_of_the_runners_own_review(
    audited: Casebook, loaded: LoadedCohort
) -> None:
    verdict = next(
        one for one in review_runner(audited, "R07").verdicts
        if (one.metric, one.what) == (STRENGTH, What.ASYMMETRY)
    )  # fmt: skip
    assert verdict.worse_side is What.LEFT
    rows = loaded.references[loaded.references["runner"] == 6]
    names = dict(zip(rows["what"], rows["on"], strict=True))
    whats, ons = list(What), list(On)
    assert names[whats.index(What.LEFT)] == ons.index(On.WORSE_SIDE)
    assert names[whats.index(What.RIGHT)] == ons.index(On.OTHER_SIDE)
