"""Flags: listing them, and acknowledging one with a reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from casebook.domain.errors import Conflict, NotFound, refuse
from casebook.domain.verdicts import Flag, FlagKind
from casebook.domain.wording import acknowledged_words
from casebook.services import clock
from casebook.services.judging import judge_runners
from casebook.services.keeping import Casebook
from casebook.services.prompting import open_pain, open_prompts
from casebook.services.registering import get_runner_row
from casebook.services.standings import StandingMemo, standings
from casebook.services.telling_flags import flags_told
from casebook.storage import cases, history, people
from casebook.storage.session import reading, writing

LONGEST_REASON = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class ToLookAt:
    """A runner with open prompts of findings, or open recent flags of pain; how many of each."""

    runner: str
    open_prompts: int
    open_pain_flags: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagList:
    """Flags of the caseload.

    Parameters
    ----------
    flags : tuple of Flag
        By runner, newest visit first.
    expected_false : float
        Metrics expected to be flagged falsely over the latest visits of all runners, had
        nobody changed; a missed target is not among them.
    expected_false_course : float
        The same over all visits of all runners.
    to_look_at : tuple of ToLookAt
        By runner: what is flagged by no number, but by what was found or felt.
    """

    flags: tuple[Flag, ...]
    expected_false: float
    expected_false_course: float
    to_look_at: tuple[ToLookAt, ...]


def list_flags(
    casebook: Casebook, *, all_visits: bool = False, memo: StandingMemo | None = None
) -> FlagList:
    """Flags that are open, or with `all_visits` every flag ever raised, acknowledged ones too."""
    with reading(casebook.engine) as unit:
        lines = cases.runner_lines(unit, casebook.clinic_id)
        standing = standings(unit, lines, memo if memo is not None else StandingMemo())
        prompts = open_prompts(unit, casebook.clinic_id)
        pains = open_pain(unit, casebook.clinic_id, today=clock.today())
    ordered = [standing[line.runner_id] for line in lines]
    return FlagList(
        flags=tuple(
            flag for one in ordered for flag in (one.flags if all_visits else one.open_flags)
        ),
        expected_false=sum(one.expected_false for one in ordered),
        expected_false_course=sum(one.expected_false_course for one in ordered),
        to_look_at=tuple(
            ToLookAt(
                runner=line.code,
                open_prompts=len(prompts.get(line.runner_id, ())),
                open_pain_flags=sum(len(run.weeks) for run in pains.get(line.runner_id, ())),
            )
            for line in lines
            if line.runner_id in prompts or line.runner_id in pains
        ),
    )


def acknowledge_flag(
    casebook: Casebook,
    runner: str,
    visit_date: date,
    session: int,
    metric: str,
    kind: FlagKind,
    *,
    reason: str,
    by: str,
) -> None:
    """Store that a named user has seen a flag, and why it needs no more.

    It stands until a number that the flag rests on is amended: then the flag is open again.

    Raises
    ------
    NotFound
        When there is no such flag, runner or user.
    InputRefused
        Without a reason.
    Conflict
        When it is acknowledged already.
    """
    words = reason.strip()
    if not 1 <= len(words) <= LONGEST_REASON:
        raise refuse(
            "reason_missing",
            f"A flag is acknowledged with a reason of 1 to {LONGEST_REASON} characters; "
            f"{len(words)} were given. Say what you make of it.",
            column="reason",
            value=words[:40],
        )
    with writing(casebook.engine) as unit:
        runner_id, known = get_runner_row(unit, casebook, runner)
        user_id = people.find_user(unit, casebook.clinic_id, by)
        if user_id is None:
            raise NotFound(f"There is no user '{by}': add the user first.")
        found = judge_runners(unit, [runner_id])
        flags = flags_told(
            found, {runner_id: known.code}, cases.acknowledgements(unit, [runner_id])
        )
        wanted = (visit_date, session, metric, kind)
        flag = next(
            (f for f in flags if (f.visit_date, f.session, f.metric, f.kind) == wanted), None
        )
        if flag is None:
            raise NotFound(
                f"{known.code} has no flag of kind '{kind}' on {metric} at the visit of "
                f"{visit_date:%Y-%m-%d}: it may have gone since the page was loaded."
            )
        if flag.acknowledged:
            raise Conflict(f"This flag is {acknowledged_words(flag)}")
        visits = found.visits
        at = (visits["visited_on"].dt.date == visit_date) & (visits["session"] == session)
        metric_id = found.metric_ids[[m.key for m in found.metrics].index(metric)]
        now = clock.now()
        told = cases.add_acknowledgement(
            unit,
            (int(visits.loc[at, "visit"].iloc[0]), metric_id, kind),
            reason=words,
            user_id=user_id,
            at=now,
        )
        history.append(unit, [told], by=by, at=now)
        unit.commit()
