"""What a runner's record must keep to, whoever stores it."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.history import Subject
from casebook.domain.people import Runner, clean_code
from casebook.domain.programmes import Programme, Target
from casebook.domain.running_load import Run
from casebook.services import clock
from casebook.services.registering import refuse_days, runner_problems

TEMPO = ("tempo_lower_s", "tempo_hold_s", "tempo_lift_s", "tempo_rest_s")


def record_problems(
    subject: Subject, columns: Mapping[str, Any], *, runner: str
) -> tuple[Problem, ...]:
    """What is wrong with a record as it is to stand; the database holds the rest to its bounds.

    Parameters
    ----------
    columns : mapping of str to object
        All columns of which the history tells.
    runner : str
        Code of whose it is.
    """
    problems = [
        Problem(code="not_a_number", column=name, message=f"{name} is {content}; give a number.")
        for name, content in columns.items()
        if isinstance(content, float) and not math.isfinite(content)
    ]
    rule = _RULES.get(subject)
    if rule is not None and not problems:
        try:
            problems += rule(columns, runner)
        except InputRefused as refused:
            problems += refused.problems
    return tuple(problems)


def _runner(columns: Mapping[str, Any], _runner: str) -> tuple[Problem, ...]:
    code = clean_code(columns["code"])
    return runner_problems(Runner(**{**columns, "code": code}), clock.today())


def _identity(columns: Mapping[str, Any], runner: str) -> tuple[Problem, ...]:
    born: date | None = columns["birth_date"]
    if born is None or born <= clock.today():
        return ()
    # The message names no identifier: it may end in a log.
    return (
        Problem(
            code="birth_in_future",
            column="birth_date",
            message=f"runner '{runner}': the birth date lies in the future.",
        ),
    )


def _injury(columns: Mapping[str, Any], _runner: str) -> tuple[Problem, ...]:
    refuse_days(
        ("onset_on", columns["onset_on"]),
        ("returned_on", columns["returned_on"]),
        code="return_before_onset",
        first="the onset",
    )
    refuse_days(
        ("onset_on", columns["onset_on"]),
        ("fully_back_on", columns["fully_back_on"]),
        code="fully_back_before_onset",
        first="the onset",
    )
    back, ran = columns["fully_back_on"], columns["returned_on"]
    if back is not None and ran is not None and back < ran:
        raise refuse(
            "fully_back_before_first_run",
            f"fully_back_on is {back}, before the first run on {ran}.",
            column="fully_back_on",
            value=back,
        )
    return ()


def _block(columns: Mapping[str, Any], _runner: str) -> tuple[Problem, ...]:
    parts = {name: columns[name] for name in TEMPO}
    given = [name for name, part in parts.items() if part is not None]
    lacking = [name for name in TEMPO[:3] if parts[name] is None]
    if given and lacking:
        return (
            Problem(
                code="tempo_in_part",
                column=lacking[0],
                message=f"{lacking[0]} is blank and {given[0]} is not; give a tempo's parts "
                "down, held and up together (0 where there is none), or none of them.",
            ),
        )
    if given and not any(parts.values()):
        return (
            Problem(
                code="tempo_empty",
                column=given[0],
                message="the tempo takes no time at all; expected seconds, or blanks.",
            ),
        )
    return ()


def _run(columns: Mapping[str, Any], _runner: str) -> tuple[Problem, ...]:
    refuse_days(("run_on", columns["run_on"]), ("run_on", None), code="", first="")
    Run(
        on=columns["run_on"],
        distance_km=columns["distance_km"],
        minutes=columns["minutes"],
        effort=columns["effort"],
    )
    return ()


def _consent(columns: Mapping[str, Any], _runner: str) -> tuple[Problem, ...]:
    refuse_days(
        ("given_on", columns["given_on"]),
        ("withdrawn_on", columns["withdrawn_on"]),
        code="withdrawn_before_given",
        first="the consent was given",
    )
    return ()


def _programme(columns: Mapping[str, Any], runner: str) -> tuple[Problem, ...]:
    Programme(
        runner=runner,
        title=columns["title"],
        started_on=columns["started_on"],
        ended_on=columns["ended_on"],
    )
    return ()


def _target(columns: Mapping[str, Any], _runner: str) -> tuple[Problem, ...]:
    Target(
        metric="the metric",
        what=columns["what"],
        direction=columns["direction"],
        amount=columns["amount"],
        due_on=columns["due_on"],
    )
    return ()


_RULES: dict[Subject, Callable[[Mapping[str, Any], str], tuple[Problem, ...]]] = {
    Subject.RUNNER: _runner,
    Subject.IDENTITY: _identity,
    Subject.INJURY: _injury,
    Subject.CONSENT: _consent,
    Subject.PROGRAMME: _programme,
    Subject.TARGET: _target,
    Subject.BLOCK: _block,
    Subject.RUN: _run,
}
