"""Hypotheses that were written elsewhere, each with the day on which that was.

Never for somebody who writes one now: what is written in the app or by the command bears the
day on which it is written, since a prediction dated back is none.
"""

from __future__ import annotations

from collections.abc import Sequence

from casebook.domain.errors import NotFound, refuse
from casebook.domain.hypotheses import Hypothesis
from casebook.domain.people import clean_by
from casebook.services import clock
from casebook.services.hypothesis_rules import add_checked
from casebook.services.opened import Casebook
from casebook.services.registering import get_runner_row
from casebook.services.visit_words import NOTHING_STORED
from casebook.storage import history, hypotheses, people, prescriptions
from casebook.storage.session import Unit, writing


def take_over_hypotheses(
    casebook: Casebook, written: Sequence[Hypothesis], *, by: str = ""
) -> None:
    """Store first versions as they are dated: all of them, or none.

    Parameters
    ----------
    written : sequence of Hypothesis
        Each is of the runner's programme with that title, and numbered in the order given.
    by : str
        Who brings them in; the history tells it, with today's date.

    Raises
    ------
    NotFound
        For a runner or programme that the casebook has not.
    InputRefused
        For a later version, a day that lies ahead, or a metric or side that does not fit the
        catalogue.
    """
    by = clean_by(by)
    today, now = clock.today(), clock.now()
    with writing(casebook.engine) as unit:
        told = []
        for one in written:
            where = f"hypothesis '{one.driver}' of {one.runner}"
            if one.version != 1 or one.written_on > today:
                raise refuse(
                    "hypothesis_taken_over",
                    f"{where}: it is version {one.version} of {one.written_on}; expected a first "
                    f"version written by today, {today}. {NOTHING_STORED}",
                    column="written_on",
                    value=one.written_on,
                )
            runner_id, programme_id = _programme(unit, casebook, one)
            number = hypotheses.next_number(unit, programme_id)
            told += add_checked(unit, (runner_id, programme_id, number), one, at=now)
            people.bump_runner(unit, runner_id)
        history.append(unit, told, by=by, at=now)
        unit.commit()


def _programme(unit: Unit, casebook: Casebook, one: Hypothesis) -> tuple[int, int]:
    runner_id, _ = get_runner_row(unit, casebook, one.runner)
    found = [
        kept.programme_id
        for kept in prescriptions.programmes_of(unit, runner_id)
        if kept.prescription.programme.title == one.programme
    ]
    if not found:
        raise NotFound(
            f"{one.runner} has no programme '{one.programme}' for the hypothesis "
            f"'{one.driver}'. {NOTHING_STORED}"
        )
    return runner_id, found[-1]
