"""Tables of an audit are short, say each number whole, and tell nothing that is withheld."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from casebook.domain.audit import Amount, AuditChoice, Completeness, Count, Flow, Part, Step
from casebook.domain.audit import Timeliness as Times
from casebook.domain.audit_course_words import course_words
from casebook.domain.audit_growth import CohortGrowth, FitCheck, GrowthCourse, Phase, RandomEffects
from casebook.domain.audit_methods import cohort_words
from casebook.domain.audit_outcomes import (
    Audit,
    GroupOutcome,
    LostDifference,
    MetricOutcome,
    On,
    Split,
)
from casebook.domain.audit_tables import (
    amount_cell,
    completeness_grid,
    left_out,
    lost_grid,
    lost_left_out,
    moved_grid,
    outcome_grid,
)
from casebook.domain.injuries import Pathology, Region
from casebook.domain.people import Purpose
from casebook.domain.programmes import ProgrammeKind
from casebook.domain.summaries import Grid
from casebook.domain.verdicts import SideMoved

HIDDEN = Part(name="", count=None, total=None)


def share(count: int, total: int) -> Part:
    if not total:
        return Part(name="", count=0, total=0)
    return Part(name="", count=count, total=total, share=count / total, low=0.1, high=0.6)


TOLD = GroupOutcome(
    level="",
    improved=share(6, 20),
    unchanged=share(12, 20),
    worsened=share(2, 20),
    cannot_say=share(5, 25),
    important=None,
    change=Amount(n=25, mean=56.85, low=-0.59, high=114.3),
    regression=4.7,
    moved=((SideMoved.WORSE_SIDE_GAINED, share(6, 6)),),
)
SMALL = GroupOutcome(
    level="",
    improved=HIDDEN,
    unchanged=HIDDEN,
    worsened=HIDDEN,
    cannot_say=HIDDEN,
    important=None,
    change=Amount(n=None),
    regression=None,
    moved=((SideMoved.WORSE_SIDE_GAINED, HIDDEN),),
    withheld=True,
)
# Of a metric whose shares are withheld though its mean is not.
HALF = replace(SMALL, withheld=False, change=Amount(n=7, mean=1.0, low=0.5, high=1.5))


def outcome(
    label: str, *whole: GroupOutcome, on: On = On.ASYMMETRY, thirds: tuple[GroupOutcome, ...] = ()
) -> MetricOutcome:
    return MetricOutcome(
        metric=label.lower(),
        label=label,
        on=on,
        unit="N",
        important_change=None,
        splits=((Split.NONE, whole), (Split.ADHERENCE_THIRD, thirds)),
    )


def read(grid: Grid) -> list[tuple[str, ...]]:
    return [tuple(cell.replace("\u00a0", " ") for cell in row) for row in grid.rows]


def test_an_outcome_is_a_row_of_untorn_numbers_without_empty_columns() -> None:
    grid = outcome_grid([outcome("Strength", TOLD)])
    assert "Beyond what matters" not in grid.columns
    assert read(grid) == [
        (
            *("Strength", "25", "6: 30 % (10 to 60)", "12: 60 % (10 to 60)"),
            *("2: 10 % (10 to 60)", "5: 20 % (10 to 60)", "+57 (−1 to +114) N, n 25", "+4.7 N"),
        )
    ]
    assert "(−1\u00a0to\u00a0+114)" in grid.rows[0][6]
    assert grid.numbers == frozenset(range(1, 8))


def test_improved_unchanged_worsened_and_without_a_verdict_add_up_to_the_measured() -> None:
    grid = outcome_grid([outcome("Strength", TOLD)])
    told = dict(zip(grid.columns, grid.rows[0], strict=True))
    parts = ("Improved", "No change seen", "Worsened", "Can't say")
    assert sum(int(told[name].split(":")[0]) for name in parts) == int(told["Measured twice"])


def test_what_matters_has_its_column_where_any_metric_says_so() -> None:
    told = replace(TOLD, important=share(0, 0), regression=None)
    more = replace(TOLD, important=share(4, 20))
    grid = outcome_grid([outcome("Pain", told, on=On.VALUE), outcome("Rest", more)])
    at = grid.columns.index("Beyond what matters")
    assert [row[at] for row in read(grid)] == ["0", "4: 20 % (10 to 60)"]
    # About different things, so that their names say which.
    assert [row[0] for row in grid.rows] == ["Pain", "Rest: asymmetry"]


def test_what_is_withheld_whole_is_a_sentence_and_no_row() -> None:
    outcomes = [outcome("Drop", SMALL), outcome("Strength", TOLD), outcome("Lean", HALF)]
    assert [row[0] for row in outcome_grid(outcomes).rows] == ["Strength", "Lean"]
    assert outcome_grid(outcomes).rows[1][1] == "withheld"
    words = left_out(outcomes, Split.NONE, 5)
    assert words == "Withheld (fewer than 5, or it would give such a number away): Drop."


def test_groups_stand_below_their_metric_and_one_alone_compares_nothing() -> None:
    thirds = tuple(replace(TOLD, level=level) for level in ("lowest", "highest"))
    both, alone = outcome("Strength", TOLD, thirds=thirds), outcome("Drop", TOLD, thirds=thirds[:1])
    grid = outcome_grid([both, alone], Split.ADHERENCE_THIRD)
    assert [row[:2] for row in read(grid)] == [("Strength", "lowest third"), ("", "highest third")]
    assert "one group alone" in left_out([both, alone], Split.ADHERENCE_THIRD, 5)
    assert read(moved_grid([both], Split.ADHERENCE_THIRD))[0][0].startswith("Strength, lowest")


def test_which_side_moved_is_counted_where_it_may_be_told() -> None:
    crossed = replace(
        TOLD,
        moved=((SideMoved.WORSE_SIDE_GAINED, share(6, 8)), (SideMoved.BOTH, HIDDEN)),
    )
    grid = moved_grid([outcome("Strength", crossed), outcome("Drop", SMALL), outcome("Lean", HALF)])
    assert read(grid) == [("Strength", "6 of 8", "–", "withheld", "–", "–")]


def test_a_mean_without_an_interval_stands_alone() -> None:
    assert (
        amount_cell(Amount(n=2, mean=0.0, low=0.0, high=0.0), "%")
        == "0.00 (0.00\u00a0to\u00a00.00)%, n\u00a02"
    )
    assert amount_cell(Amount(n=2, mean=3.0), "N", signed=True) == "+3.0\u00a0N, n\u00a02"


def test_the_least_complete_metric_comes_first_and_small_reasons_have_no_number() -> None:
    def metric(label: str, baseline: Part, *reasons: tuple[str, Count]) -> Completeness:
        return Completeness(
            metric=label, label=label, baseline=baseline, outcome=share(9, 12), reasons=reasons
        )

    grid = completeness_grid(
        [
            metric("whole", share(12, 12)),
            metric("few", HIDDEN),
            metric("none", share(0, 0)),
            metric("half", share(6, 12), ("painful", Count(n=6)), ("not_done", Count(n=None))),
        ]
    )
    assert read(grid) == [
        ("half", "6 of 12, 50 %", "9 of 12, 75 %", "painful 6; not done (numbers withheld)"),
        ("whole", "12 of 12, 100 %", "9 of 12, 75 %", "–"),
        ("few", "withheld", "9 of 12, 75 %", "–"),
        ("none", "–", "9 of 12, 75 %", "–"),
    ]


def test_who_was_lost_is_told_in_the_units_of_each_measure() -> None:
    women = LostDifference(
        what="sex_female",
        label="Women",
        unit="",
        lost=Amount(n=10, mean=0.5, low=0.2, high=0.8),
        followed=Amount(n=20, mean=0.4),
        difference=Amount(n=30, mean=0.1, low=-0.2, high=0.4),
        standardised=0.2,
    )
    age = replace(women, what="age", label="Age", unit="years", standardised=None)
    few = LostDifference(
        what="hop", label="Hop", unit="cm", lost=Amount(n=None), followed=Amount(n=None),
        difference=Amount(n=None), standardised=None,
    )  # fmt: skip
    first, second = read(lost_grid([women, few, age]))
    assert lost_left_out([women, few], 5).endswith("such a number away): Hop.")
    assert first[1:4] == (
        "50.0 (20.0 to 80.0)%, n 10",
        "40.0%, n 20",
        "+10.0 (−20.0 to +40.0)%, n 30",
    )
    assert second[1] == "0.50 (0.20 to 0.80) years, n 10"
    assert second[4] == "–"


def audited(choice: AuditChoice, **counts: int | None) -> Audit:
    return Audit(
        choice=choice,
        flow=Flow(
            steps=tuple((step, Count(n=counts.get(step.value, 0))) for step in Step), excluded=()
        ),
        completeness=(),
        timeliness=Times(reviewed=Count(n=0), days_to_review=None, in_time=HIDDEN),
        outcomes=(),
        lost=(),
        returns=(),
        funnels=(),
    )


def test_the_cohort_is_told_in_a_sentence_with_every_restriction() -> None:
    day = date(2026, 6, 30)
    plain = cohort_words(audited(AuditChoice(as_of=day), included=1, started=1, reviewed=None))
    assert plain == (
        "1 runner registered by 30 Jun 2026: 1 started a programme, a number that is withheld were "
        "seen again. Outcomes are told by the latest visit after the programme's start."
    )
    chosen = AuditChoice(
        as_of=day,
        started_from=date(2026, 1, 1),
        started_to=date(2026, 3, 31),
        kinds=(ProgrammeKind.INJURY,),
        regions=(Region.KNEE,),
        pathologies=(Pathology.BONE_STRESS,),
        clinicians=("AB", "CD"),
        purpose=Purpose.AUDIT,
    )
    words = cohort_words(audited(chosen, included=None))
    assert words.startswith(
        "Runners registered by 30 Jun 2026, with a first programme for an injury started from "
        "1 Jan 2026 until 31 Mar 2026, with a complaint of the knee, kind of tissue bone stress, "
        "with a baseline assessed by 2 chosen clinicians, who consented to audit: 0 started"
    )
    own = cohort_words(audited(replace(chosen, purpose=None), included=None))
    assert "assessed by AB or CD:" in own
    kinds = cohort_words(audited(replace(chosen, started_from=None, started_to=None), included=9))
    assert "with a first programme for an injury, with a complaint" in kinds


def test_a_course_is_told_from_its_first_to_its_last_week() -> None:
    def piece(group: str, phase: Phase, *weeks: float) -> GrowthCourse:
        mean = tuple(5.0 + week for week in weeks)
        low, high = tuple(one - 1 for one in mean), tuple(one + 1 for one in mean)
        return GrowthCourse(group=group, phase=phase, weeks=weeks, mean=mean, low=low, high=high)

    growth = CohortGrowth(
        metric="strength",
        label="Strength",
        on=On.WORSE_SIDE,
        unit="N",
        n_runners=20,
        n_rows=60,
        terms=(),
        random=RandomEffects(
            sd_level=None,
            sd_slope=None,
            correlation=None,
            sd_residual=1.0,
            sd_error=None,
            error_share=None,
        ),
        log_likelihood=-1.0,
        converged=True,
        model="",
        check=FitCheck.AGREES,
        courses=(piece("", Phase.BEFORE, -2.0, 0.0), piece("", Phase.AFTER, 0.0, 10.0)),
        raw=(),
        residuals=(),
        words=(),
    )
    assert course_words(growth) == (
        "Predicted mean, side that was worse at the baseline: all runners from 3.0 N in week −2 to "
        "15.0 N (95 % interval 14.0 N to 16.0 N) in week 10, counted from the programme's start."
    )
    value = replace(growth, on=On.VALUE, courses=(piece("injury", Phase.AFTER, -0.2, 1.0),))
    assert course_words(value).startswith("Predicted mean: for an injury from 4.8 N in week 0 to")
