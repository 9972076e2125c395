"""Working hypotheses: written before a programme, frozen when it starts, scored at each review.

They are scored with the error figures of today, so that a better figure tells more of the same
visits; what was predicted can't change. Nothing here says why something moved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from casebook.domain.errors import Conflict, NotFound
from casebook.domain.hypotheses import (
    Hypothesis,
    HypothesisKind,
    Link,
    LinkScore,
    Order,
    Outcome,
    Role,
    amended,
    is_frozen,
    version_to_score,
)
from casebook.domain.hypothesis_words import ORDERS, link_words, outcome_words
from casebook.domain.metrics import Metric
from casebook.domain.people import clean_by
from casebook.domain.verdicts import Verdict
from casebook.services import clock
from casebook.services.amending import asked_reason
from casebook.services.hypothesis_rules import add_checked
from casebook.services.judging_programmes import judge_programmes, verdicts_by_programme
from casebook.services.opened import Casebook
from casebook.services.prescribing import get_kept
from casebook.services.registering import get_runner_row
from casebook.services.targeting import asked_of
from casebook.services.visit_words import NOTHING_STORED
from casebook.statistics.hypotheses import (
    followed_in_time,
    outcome_of,
    score_course,
    score_when_due,
)
from casebook.storage import history, hypotheses, people, prescriptions
from casebook.storage.session import Unit, reading, writing

WRITTEN_LATE = (
    "It was written after its programme had started: it is shown, and never scored as a prediction."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredHypothesis:
    """A hypothesis with all its versions.

    Parameters
    ----------
    programme : str
        Title of the programme that it was written for.
    number : int
        Within the programme, from 1.
    versions : tuple of Hypothesis
        Oldest first; none of them can be altered.
    frozen : bool
        The programme has started: a further version is kept and does not count.
    counts : Hypothesis or None
        The version that is scored; None where all were written after the start.
    """

    programme_id: int
    programme: str
    number: int
    versions: tuple[Hypothesis, ...]
    programme_started_on: date
    frozen: bool
    counts: Hypothesis | None

    @property
    def latest(self) -> Hypothesis:
        """The version written last."""
        return self.versions[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToldLink:
    """What became of one prediction.

    Parameters
    ----------
    score : LinkScore
        At the first visit on or after its date.
    course : tuple of LinkScore
        At every review so far, in the order of time.
    order : Order or None
        Of a consequence: when it was first seen to move, against the driver.
    """

    score: LinkScore
    metric: Metric
    words: str
    course: tuple[LinkScore, ...]
    order: Order | None = None
    order_words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoredHypothesis:
    """A hypothesis with what became of it; `links` is empty where nothing of it counts."""

    stored: StoredHypothesis
    links: tuple[ToldLink, ...]
    outcome: Outcome
    words: str


def write_hypothesis(
    casebook: Casebook,
    programme_id: int,
    *,
    kind: HypothesisKind,
    driver: str,
    links: Sequence[Link],
    sureness_pct: int,
    by: str,
    leads_to: str = "",
) -> StoredHypothesis:
    """Write down a hypothesis on a programme, dated today.

    Raises
    ------
    NotFound
        For a programme that does not exist.
    InputRefused
        For what no hypothesis may hold, or a metric or side that does not fit the catalogue.
    """
    by = clean_by(by)
    with writing(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id, to_write=True)
        wanted = Hypothesis(
            runner=kept.runner,
            programme=kept.prescription.programme.title,
            kind=kind,
            driver=driver.strip(),
            leads_to=leads_to.strip(),
            links=tuple(links),
            sureness_pct=sureness_pct,
            written_on=clock.today(),
            written_by=by,
        )
        number = hypotheses.next_number(unit, programme_id)
        _store(unit, (kept.runner_id, programme_id, number), wanted, by)
        stored = _get(unit, casebook, kept, number)
        unit.commit()
    return stored


def amend_hypothesis(
    casebook: Casebook,
    programme_id: int,
    number: int,
    *,
    expected_version: int,
    reason: str,
    by: str,
    **changes: Any,
) -> StoredHypothesis:
    """Write the next version of a hypothesis; the ones before stay as they are.

    Parameters
    ----------
    expected_version : int
        The version that was read.
    **changes
        Fields that differ: kind, driver, leads_to, links, sureness_pct.

    Raises
    ------
    NotFound
    InputRefused
        Without a reason, when nothing differs, and as `write_hypothesis`.
    Conflict
        When somebody else has written a version in between.
    """
    by = clean_by(by)
    reason = asked_reason(reason)
    with writing(casebook.engine) as unit:
        kept = get_kept(unit, casebook, programme_id, to_write=True)
        latest = _get(unit, casebook, kept, number).latest
        if latest.version != expected_version:
            raise Conflict(
                f"Somebody else has written version {latest.version} of this hypothesis; you had "
                f"{expected_version}. {NOTHING_STORED} Read it, then write yours."
            )
        wanted = amended(latest, written_on=clock.today(), written_by=by, reason=reason, **changes)
        _store(unit, (kept.runner_id, programme_id, number), wanted, by)
        stored = _get(unit, casebook, kept, number)
        unit.commit()
    return stored


def list_hypotheses(casebook: Casebook, runner: str) -> tuple[StoredHypothesis, ...]:
    """A runner's hypotheses by programme and number.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        found = hypotheses.hypotheses_of(unit, casebook.clinic_id, [runner_id])
    return tuple(_stored(one, clock.today()) for one in found)


def score_hypotheses(
    casebook: Casebook, runner: str, *, today: date | None = None
) -> tuple[ScoredHypothesis, ...]:
    """A runner's hypotheses with what became of each of their predictions.

    Raises
    ------
    NotFound
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, runner)
        found = hypotheses.hypotheses_of(unit, casebook.clinic_id, [runner_id])
        return score_all(unit, found, today=today or clock.today())


def score_all(
    unit: Unit, found: Sequence[hypotheses.KeptHypothesis], *, today: date
) -> tuple[ScoredHypothesis, ...]:
    """Hypotheses of any runners scored in one pass, in the order given."""
    every = {
        runner_id: tuple(asked_of(one) for one in prescriptions.programmes_of(unit, runner_id))
        for runner_id in sorted({one.runner_id for one in found})
    }
    wanted = {one.programme_id for one in found}
    asked = [one for group in every.values() for one in group if one.programme_id in wanted]
    judged = judge_programmes(unit, asked, every)
    verdicts = verdicts_by_programme(judged, wanted)
    metrics = {metric.key: metric for metric in judged.metrics}
    return tuple(_scored(_stored(one, today), verdicts[one.programme_id], metrics) for one in found)


def _scored(
    stored: StoredHypothesis, verdicts: Sequence[Verdict], metrics: Mapping[str, Metric]
) -> ScoredHypothesis:
    counts = stored.counts
    if counts is None:
        return ScoredHypothesis(
            stored=stored, links=(), outcome=Outcome.CANNOT_SAY, words=WRITTEN_LATE
        )
    courses = {
        link.position: score_course(
            link,
            [
                one
                for one in verdicts
                if one.metric == link.metric and one.what.value == link.on.value
            ],
        )
        for link in counts.links
    }
    drivers = [
        score
        for link in counts.links
        if link.role is Role.DRIVER
        for score in courses[link.position]
    ]
    links = []
    for link in sorted(counts.links, key=lambda one: one.position):
        course = courses[link.position]
        score = score_when_due(link, course)
        order = followed_in_time(drivers, course) if link.role is Role.CONSEQUENCE else None
        links.append(
            ToldLink(
                score=score,
                metric=metrics[link.metric],
                words=link_words(score, metrics[link.metric]),
                course=course,
                order=order,
                order_words="" if order is None else ORDERS[order],
            )
        )
    scores = [one.score for one in links]
    outcome = outcome_of(scores)
    return ScoredHypothesis(
        stored=stored,
        links=tuple(links),
        outcome=outcome,
        words=outcome_words(outcome, counts.sureness_pct, scores),
    )


def _stored(kept: hypotheses.KeptHypothesis, today: date) -> StoredHypothesis:
    start = kept.programme_started_on
    return StoredHypothesis(
        programme_id=kept.programme_id,
        programme=kept.versions[0].programme,
        number=kept.number,
        versions=kept.versions,
        programme_started_on=start,
        frozen=is_frozen(programme_started_on=start, today=today),
        counts=version_to_score(kept.versions, programme_started_on=start),
    )


def _get(
    unit: Unit, casebook: Casebook, kept: prescriptions.KeptProgramme, number: int
) -> StoredHypothesis:
    found = hypotheses.hypotheses_of(unit, casebook.clinic_id, [kept.runner_id])
    for one in found:
        if (one.programme_id, one.number) == (kept.programme_id, number):
            return _stored(one, clock.today())
    raise NotFound(
        f"The programme '{kept.prescription.programme.title}' has no hypothesis {number}. "
        f"{NOTHING_STORED}"
    )


def _store(unit: Unit, place: tuple[int, int, int], wanted: Hypothesis, by: str) -> None:
    now = clock.now()
    told = add_checked(unit, place, wanted, at=now)
    people.bump_runner(unit, place[0])
    history.append(unit, told, by=by, at=now)
