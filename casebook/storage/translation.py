"""Row <-> value. A test compares the fields of each pair."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from casebook.domain.injuries import Injury
from casebook.domain.metrics import Condition, ErrorFigure, Metric
from casebook.domain.people import Consent, Identity, Runner, User
from casebook.domain.programmes import AdherenceWeek, Block
from casebook.domain.visits import Conditions, Value, Visit, numbers_with_gaps
from casebook.storage.tables import (
    AdherenceRow,
    BlockRow,
    ConsentRow,
    ErrorFigureRow,
    IdentityRow,
    InjuryRow,
    MetricRow,
    RunnerRow,
    TrialRow,
    UserRow,
    ValueRow,
    VisitRow,
)


def runner_row(runner: Runner, *, clinic_id: int) -> RunnerRow:
    """A row to be stored for a runner."""
    return RunnerRow(
        clinic_id=clinic_id,
        code=runner.code,
        sex=runner.sex,
        birth_year=runner.birth_year,
        discipline=runner.discipline,
        height_cm=runner.height_cm,
        mass_kg=runner.mass_kg,
        registered_on=runner.registered_on,
    )


def runner_value(row: RunnerRow) -> Runner:
    """A stored runner as a value."""
    return Runner(
        code=row.code,
        sex=row.sex,
        birth_year=row.birth_year,
        discipline=row.discipline,
        height_cm=row.height_cm,
        mass_kg=row.mass_kg,
        registered_on=row.registered_on,
    )


def identity_row(identity: Identity, *, runner_id: int) -> IdentityRow:
    """A row to be stored for a runner's direct identifiers."""
    return IdentityRow(
        runner_id=runner_id,
        given_name=identity.given_name,
        family_name=identity.family_name,
        birth_date=identity.birth_date,
    )


def identity_value(row: IdentityRow, *, runner: str) -> Identity:
    """Stored identifiers as a value."""
    return Identity(
        runner=runner,
        given_name=row.given_name,
        family_name=row.family_name,
        birth_date=row.birth_date,
    )


def user_row(user: User, *, clinic_id: int) -> UserRow:
    """A row to be stored for a user."""
    return UserRow(
        clinic_id=clinic_id,
        code=user.code,
        display_name=user.display_name,
        role=user.role,
        active=user.active,
    )


def user_value(row: UserRow) -> User:
    """A stored user as a value."""
    return User(code=row.code, display_name=row.display_name, role=row.role, active=row.active)


def consent_row(consent: Consent, *, runner_id: int) -> ConsentRow:
    """A row to be stored for a consent."""
    return ConsentRow(
        runner_id=runner_id,
        purpose=consent.purpose,
        given_on=consent.given_on,
        withdrawn_on=consent.withdrawn_on,
    )


def consent_value(row: ConsentRow, *, runner: str) -> Consent:
    """A stored consent as a value."""
    return Consent(
        runner=runner,
        purpose=row.purpose,
        given_on=row.given_on,
        withdrawn_on=row.withdrawn_on,
    )


def injury_row(injury: Injury, *, runner_id: int) -> InjuryRow:
    """A row to be stored for an injury."""
    return InjuryRow(
        runner_id=runner_id,
        region=injury.region,
        pathology=injury.pathology,
        side=injury.side,
        onset_on=injury.onset_on,
        onset=injury.onset,
        occurrence=injury.occurrence,
        course=injury.course,
        returned_on=injury.returned_on,
        fully_back_on=injury.fully_back_on,
        days_limited=injury.days_limited,
        sessions_missed_in_row=injury.sessions_missed_in_row,
        consulted=injury.consulted,
    )


def injury_value(row: InjuryRow, *, runner: str) -> Injury:
    """A stored injury as a value."""
    return Injury(
        runner=runner,
        region=row.region,
        pathology=row.pathology,
        side=row.side,
        onset_on=row.onset_on,
        onset=row.onset,
        occurrence=row.occurrence,
        course=row.course,
        returned_on=row.returned_on,
        fully_back_on=row.fully_back_on,
        days_limited=row.days_limited,
        sessions_missed_in_row=row.sessions_missed_in_row,
        consulted=row.consulted,
    )


def visit_row(visit: Visit, *, runner_id: int, by: str, at: datetime) -> VisitRow:
    """A row to be stored for a visit, without its values."""
    conditions = visit.conditions
    return VisitRow(
        runner_id=runner_id,
        visited_on=visit.visited_on,
        session=visit.session,
        kind=visit.kind,
        speed_km_h=conditions.speed_km_h,
        surface=conditions.surface,
        incline_pct=conditions.incline_pct,
        footwear=conditions.footwear,
        view=conditions.view,
        frames_per_s=conditions.frames_per_s,
        assessor=conditions.assessor,
        pain_today=conditions.pain_today,
        next_due_on=visit.next_due_on,
        note=visit.note,
        recorded_at=at,
        recorded_by=by,
        revision=1,
    )


def visit_value(row: VisitRow, *, runner: str, values: Sequence[Value] = ()) -> Visit:
    """A stored visit as a value."""
    return Visit(
        runner=runner,
        visited_on=row.visited_on,
        kind=row.kind,
        session=row.session,
        conditions=Conditions(
            speed_km_h=row.speed_km_h,
            surface=row.surface,
            incline_pct=row.incline_pct,
            footwear=row.footwear,
            view=row.view,
            frames_per_s=row.frames_per_s,
            assessor=row.assessor,
            pain_today=row.pain_today,
        ),
        next_due_on=row.next_due_on,
        note=row.note,
        values=tuple(values),
    )


def value_row(value: Value, *, visit_id: int, metric_id: int, saved_in: int = 1) -> ValueRow:
    """A row to be stored for a value, without its trials."""
    return ValueRow(
        visit_id=visit_id,
        metric_id=metric_id,
        side=value.side,
        n_trials=value.n_trials,
        mean=value.mean,
        sd=value.sd,
        missing_reason=value.missing_reason,
        marking_sd=value.marking_sd,
        saved_in=saved_in,
    )


def trial_rows(value: Value, *, value_id: int) -> list[TrialRow]:
    """Rows for every trial of a value, by its number."""
    return [
        TrialRow(value_id=value_id, number=number, reading=reading)
        for number, reading in value.numbered.items()
    ]


def stored_value(
    row: ValueRow, *, metric: str, trials: Sequence[float] = (), numbers: Sequence[int] = ()
) -> Value:
    """A stored value with its trials, by number."""
    return Value(
        metric=metric,
        side=row.side,
        n_trials=row.n_trials,
        mean=row.mean,
        sd=row.sd,
        trials=tuple(trials),
        missing_reason=row.missing_reason,
        marking_sd=row.marking_sd,
        trial_numbers=numbers_with_gaps(numbers),
    )


def metric_row(metric: Metric) -> MetricRow:
    """A row to be stored for a metric."""
    row = MetricRow(key=metric.key, revision=1)
    fill_metric_row(row, metric)
    return row


def fill_metric_row(row: MetricRow, metric: Metric) -> None:
    """Write all of a metric but its key and revision into a row."""
    row.label = metric.label
    row.group = metric.group
    row.unit = metric.unit
    row.scale = metric.scale
    row.sided = metric.sided
    row.plane = metric.plane
    row.view = metric.view
    row.phase = metric.phase
    row.sign_convention = metric.sign_convention
    row.better = metric.better
    row.target_low = metric.target_low
    row.target_high = metric.target_high
    row.plausible_low = metric.plausible_low
    row.plausible_high = metric.plausible_high
    row.resolution = metric.resolution
    row.floor_kind = metric.floor_kind
    row.usual_trials = metric.usual_trials
    row.asymmetry_form = metric.asymmetry_form
    row.important_change = metric.important_change
    row.sensitive_to = [condition.value for condition in metric.sensitive_to]
    row.grades = list(metric.grades)
    row.notes = metric.notes
    row.sources = metric.sources
    row.position = metric.position
    row.starter = metric.starter
    row.active = metric.active


def metric_value(row: MetricRow) -> Metric:
    """A stored metric as a value."""
    return Metric(
        key=row.key,
        label=row.label,
        group=row.group,
        unit=row.unit,
        scale=row.scale,
        sided=row.sided,
        plane=row.plane,
        view=row.view,
        phase=row.phase,
        sign_convention=row.sign_convention,
        better=row.better,
        target_low=row.target_low,
        target_high=row.target_high,
        plausible_low=row.plausible_low,
        plausible_high=row.plausible_high,
        resolution=row.resolution,
        floor_kind=row.floor_kind,
        usual_trials=row.usual_trials,
        asymmetry_form=row.asymmetry_form,
        important_change=row.important_change,
        sensitive_to=tuple(Condition(name) for name in row.sensitive_to),
        grades=tuple(str(grade) for grade in row.grades),
        notes=row.notes,
        sources=row.sources,
        position=row.position,
        starter=row.starter,
        active=row.active,
    )


def figure_row(figure: ErrorFigure, *, metric_id: int, at: datetime) -> ErrorFigureRow:
    """A row to be stored for an error figure, adopted at an instant unless it says when."""
    return ErrorFigureRow(
        metric_id=metric_id,
        applies_to=figure.applies_to,
        origin=figure.origin,
        between_sd=figure.between_sd,
        within_sd=figure.within_sd,
        sem=figure.sem,
        sem_trials=figure.sem_trials,
        grade_step=figure.grade_step,
        published_as=figure.published_as,
        published_level=figure.published_level,
        averaged=figure.averaged,
        population=figure.population,
        source=figure.source,
        adopted_at=figure.adopted_at or at,
        retired_at=figure.retired_at,
    )


def figure_value(row: ErrorFigureRow, *, metric: str) -> ErrorFigure:
    """A stored error figure as a value."""
    return ErrorFigure(
        metric=metric,
        applies_to=row.applies_to,
        origin=row.origin,
        between_sd=row.between_sd,
        within_sd=row.within_sd,
        sem=row.sem,
        sem_trials=row.sem_trials,
        grade_step=row.grade_step,
        published_as=row.published_as,
        published_level=row.published_level,
        averaged=row.averaged,
        population=row.population,
        source=row.source,
        adopted_at=row.adopted_at,
        retired_at=row.retired_at,
    )


def block_value(row: BlockRow) -> Block:
    """A stored block of a programme as a value."""
    return Block(
        position=row.position,
        aim=row.aim,
        exercise=row.exercise,
        side=row.side,
        sets=row.sets,
        repetitions=row.repetitions,
        load=row.load,
        hold_s=row.hold_s,
        sessions_per_week=row.sessions_per_week,
    )


def week_value(row: AdherenceRow) -> AdherenceWeek:
    """A stored week of adherence as a value."""
    return AdherenceWeek(
        week_start=row.week_start,
        sessions_planned=row.sessions_planned,
        sessions_done=row.sessions_done,
        pain_during=row.pain_during,
        pain_morning_after=row.pain_morning_after,
        comment=row.comment,
    )
