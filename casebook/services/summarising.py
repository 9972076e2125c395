"""Summarising: one case on one or two pages, for the runner or for who referred them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from casebook.domain.date_words import day_words
from casebook.domain.people import Identity, Runner, Sex
from casebook.domain.summaries import Drawing, Facts, Part, Points, Reader, Section, Summary, Text
from casebook.domain.summary_words import (
    CAUTION_FOR_RUNNER,
    CHART_KEY,
    CROSSES_KEY,
    HOW_SURE_FOR_REFERRER,
    HOW_SURE_FOR_RUNNER,
    LOCAL_RULES,
    NOT_ADVICE,
    PLAIN_FLAGS,
    by_chance_words,
    change_sentence,
    shortened,
)
from casebook.domain.verdicts import Call, Flag
from casebook.domain.wording import (
    CAUTION,
    VISIT_KINDS,
    acknowledged_words,
    complaint_words,
    number_words,
)
from casebook.services.norming import Norms
from casebook.services.opened import Casebook
from casebook.services.prescribing import find_last_prescription
from casebook.services.registering import find_identity
from casebook.services.reviewing import Review, review_runner
from casebook.services.summarising_numbers import (
    drawings,
    judged_with_error,
    measured_first,
    metrics_shown,
    others_words,
    verdict_grid,
    verdicts_shown,
)
from casebook.services.summarising_outcomes import outcome_parts, pain_parts, prompt_parts
from casebook.services.summarising_plan import next_steps, prescribed
from casebook.storage.clinics import clinic_name
from casebook.storage.session import reading

LONGEST_NAME = 120
LONGEST_NOTE = 500
MOST_FLAGS = 5
SEXES = {Sex.FEMALE: "female", Sex.MALE: "male", Sex.OTHER: "other", Sex.NOT_RECORDED: ""}
READERS = {Reader.RUNNER: "for the runner", Reader.REFERRER: "for the referrer"}


def summarise(
    casebook: Casebook,
    code: str,
    *,
    reader: Reader,
    today: date,
    with_name: bool = False,
    norms: Norms | None = None,
) -> Summary:
    """What a summary of one runner says; page and file are both made of it.

    Parameters
    ----------
    casebook : Casebook
    code : str
    reader : Reader
    today : date
        The day that it is made on; with the casebook as it stands it settles every word.
    with_name : bool
        Name and birth date stand on it. Without, the runner is known by code and age alone;
        what was typed in free words stands as it was typed.
    norms : Norms or None
        The clinic's baselines, where they are at hand; else they are gathered for a referrer.

    Raises
    ------
    NotFound
        For a code that no runner has.
    """
    review = review_runner(casebook, code)
    identity = find_identity(casebook, review.runner.code) if with_name else None
    sections = (
        _who(review, identity, today),
        _found(review, reader, prompt_parts(casebook, review.runner.code, reader)),
        prescribed(review, reader, find_last_prescription(casebook, review.runner.code)),
        *_changed(
            review, reader, outcome_parts(casebook, review.runner.code, reader, today, norms)
        ),
        _next(review, reader, today),
        _cautions(reader, pain_parts(casebook, review.runner.code, today)),
    )
    name = _name(review.runner, identity)
    return Summary(
        reader=reader,
        title=f"Summary of {name}",
        made=f"{READERS[reader].capitalize()}, {_clinic(casebook)}, {day_words(today)}",
        sections=sections,
        foot=f"{name}, {day_words(today)}",
    )


def _clinic(casebook: Casebook) -> str:
    with reading(casebook.engine) as unit:
        return shortened(clinic_name(unit, casebook.clinic_id), LONGEST_NAME)


def _name(runner: Runner, identity: Identity | None) -> str:
    if identity is None:
        return runner.code
    name = f"{identity.given_name} {identity.family_name}".strip()
    return f"{shortened(name, LONGEST_NAME)} ({runner.code})" if name else runner.code


def _who(review: Review, identity: Identity | None, today: date) -> Section:
    rows = [("Runner", _person(review.runner, identity, today))]
    if identity is not None and identity.birth_date is not None:
        rows.append(("Born", day_words(identity.birth_date)))
    rows += [
        (
            "Complaint",
            f"{complaint_words(injury)}, began {day_words(injury.onset_on)}"
            + (f", running again {day_words(injury.returned_on)}" if injury.returned_on else ""),
        )
        for injury in review.injuries
    ]
    rows.append(("Visits", _visits(review)))
    return Section(heading="Who", parts=(Facts(rows=tuple(rows)),))


def _person(runner: Runner, identity: Identity | None, today: date) -> str:
    known_exactly = identity is not None and identity.birth_date is not None
    # A year of birth leaves the age open by one; that much is not made to look exact.
    age = f"about {today.year - runner.birth_year} years" if runner.birth_year else ""
    parts = (
        _name(runner, identity),
        SEXES[runner.sex],
        "" if known_exactly else age,
        shortened(runner.discipline, LONGEST_NAME),
    )
    return ", ".join(part for part in parts if part)


def _visits(review: Review) -> str:
    if not review.visits:
        return "none yet"
    first, last = review.visits[0], review.visits[-1]
    kind = VISIT_KINDS[last.kind]
    if len(review.visits) == 1:
        return f"1, on {day_words(first.visited_on)} ({kind})"
    return (
        f"{len(review.visits)}, from {day_words(first.visited_on)} to "
        f"{day_words(last.visited_on)} ({kind})"
    )


def _found(review: Review, reader: Reader, prompts: Sequence[Part]) -> Section:
    # Findings that call for a referral come before any number.
    parts: list[Part] = [*prompts]
    if review.visits:
        parts += measured_first(review, reader)
        parts += _flagged(review, reader)
        parts += _latest_conditions(review, reader)
    else:
        parts.append(Text(words="Nothing has been measured yet."))
    return Section(heading="What was found", parts=tuple(parts))


def _flagged(review: Review, reader: Reader) -> list[Part]:
    if not review.verdicts:
        return []
    # What somebody has looked at still stands as it was found.
    seen = [flag for flag in review.flags if flag.stands and flag.acknowledged]
    if not review.open_flags and not seen:
        return [Text(words=_nothing_flagged(review))]
    every = (
        [*_plain_flags(review, review.open_flags), *_plain_flags(review, seen, seen=True)]
        if reader is Reader.RUNNER
        else [*(flag.message for flag in review.open_flags), *map(_seen_words, seen)]
    )
    told = every[:MOST_FLAGS]
    more = len(every) - len(told)
    if more:
        told.append(f"{more} more {'is' if more == 1 else 'are'} in the casebook.")
    return [
        Text(words="Flagged for a closer look:"),
        Points(items=tuple(told)),
        *_flags_by_chance(review, reader),
    ]


def _nothing_flagged(review: Review) -> str:
    """No flag says nothing of findings, nor that nothing got worse: neither is to be read so."""
    if not review.tests:
        return "Nothing could be compared at the latest visit, so no measurement could be flagged."
    if any(v.verdict is Call.WORSENED for v in review.verdicts):
        return "No measurement is flagged at the latest visit; what got worse stands below."
    return "No measurement is flagged at the latest visit."


def _seen_words(flag: Flag) -> str:
    return f"{flag.message} ({shortened(acknowledged_words(flag), LONGEST_NOTE)})"


def _plain_flags(review: Review, flags: Sequence[Flag], *, seen: bool = False) -> list[str]:
    """One sentence a metric, whatever number of flags it has."""
    kinds: dict[str, list[str]] = {}
    for flag in flags:
        kinds.setdefault(flag.metric, []).append(PLAIN_FLAGS[flag.kind])
    looked = " (your clinician has looked at it)" if seen else ""
    return [
        f"{review.metrics[key].label}: {'; '.join(dict.fromkeys(words))}{looked}."
        for key, words in kinds.items()
    ]


def _flags_by_chance(review: Review, reader: Reader) -> list[Part]:
    if reader is Reader.RUNNER:
        return [Text(words="A flag asks for a closer look; it does not say what the matter is.")]
    tests = "1 test" if review.tests == 1 else f"{review.tests} tests"
    return [
        Text(
            words=(
                f"{number_words(review.expected_false)} such flags would be expected at the latest "
                f"visit ({tests}) had nothing truly changed, missed targets and symptoms without "
                "an error figure left out."
            )
        )
    ]


def _latest_conditions(review: Review, reader: Reader) -> list[Part]:
    last = review.visits[-1]
    pain = last.conditions.pain_today
    told: list[Part] = []
    if pain is not None:
        told.append(Text(words=f"Pain on the day of the latest visit: {pain:g} of 10."))
    if reader is Reader.REFERRER and last.note.strip():
        told.append(Text(words=f"Noted at that visit: {shortened(last.note, LONGEST_NOTE)}"))
    return told


def _changed(review: Review, reader: Reader, outcomes: Sequence[Part]) -> tuple[Section, ...]:
    heading = "What changed, and how sure that is"
    if not review.verdicts:
        words = (
            "Only the start has been measured; what changed can be told after the next visit."
            if review.visits
            else "What changed can be told after a first visit and a later one."
        )
        return (Section(heading=heading, parts=(Text(words=words), *outcomes)),)
    shown = verdicts_shown(review, reader)
    judged = judged_with_error(review)
    told: list[Part]
    if reader is Reader.RUNNER:
        told = [
            Points(items=tuple(change_sentence(v, review.metrics[v.metric]) for v in shown)),
            Text(words=others_words(review, shown, reader)),
            Text(words=f"{HOW_SURE_FOR_RUNNER} {by_chance_words(judged, reader)}"),
        ]
    else:
        told = [
            *verdict_grid(review, shown),
            Text(words=others_words(review, shown, reader)),
            Text(words=f"{HOW_SURE_FOR_REFERRER} {by_chance_words(judged, reader)}"),
        ]
    told = [*told, *outcomes]
    drawn = drawings(review, metrics_shown(review), reader)
    sections = [Section(heading=heading, parts=tuple(told))]
    if drawn:
        sections.append(Section(heading="Charts", parts=(Text(words=_key(drawn)), *drawn)))
    return tuple(sections)


def _key(drawn: Sequence[Drawing]) -> str:
    lines = [line for one in drawn for panel in one.panels for line in panel.lines]
    return CHART_KEY + (CROSSES_KEY if any(any(line.unlike) for line in lines) else "")


def _next(review: Review, reader: Reader, today: date) -> Section:
    parts: list[Part] = [Points(items=next_steps(review, today))]
    if reader is Reader.RUNNER:
        parts.append(Text(words=NOT_ADVICE))
    return Section(heading="Next step", parts=tuple(parts))


def _cautions(reader: Reader, found: Sequence[Part]) -> Section:
    words = CAUTION_FOR_RUNNER if reader is Reader.RUNNER else CAUTION
    return Section(
        heading="Cautions",
        parts=(*found, Text(words=words, strong=True), Text(words=LOCAL_RULES)),
    )
