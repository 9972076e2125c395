"""Runs of a runner, entered one by one; tables of them are imported."""

from __future__ import annotations

from casebook.domain.people import clean_by
from casebook.domain.running_load import Run
from casebook.services import clock
from casebook.services.opened import Casebook
from casebook.services.registering import get_runner_row, refuse_days
from casebook.storage import history, people, runs
from casebook.storage.session import reading, writing


def list_runs(casebook: Casebook, runner: str) -> tuple[Run, ...]:
    """A runner's runs by day.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        return runs.runs_of(unit, runner_id)


def record_run(casebook: Casebook, runner: str, run: Run, *, by: str) -> None:
    """Store a run beside the others of its day.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    InputRefused
        For a day in the future.
    """
    by = clean_by(by)
    refuse_days(("run_on", run.on), ("run_on", None), code="", first="")
    with writing(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        told = runs.add_run(unit, runner_id, run)
        people.bump_runner(unit, runner_id)
        history.append(unit, [told], by=by, at=clock.now())
        unit.commit()
