"""Who leaves in an export, and how alike they are made before anything else is read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

import numpy as np
import pandas as pd

from casebook.domain.export_tables import (
    FURTHER,
    MOST_ONSET_WEEKS,
    MOST_RETURN_DAYS,
    WEIGHTS,
    WITHHELD,
)
from casebook.domain.exporting import ExportKey, ExportSettings, Kind, Trait
from casebook.domain.injuries import Pathology
from casebook.domain.risk_words import HEIGHT_STEP_CM, MASS_STEP_KG
from casebook.services.opened import Casebook
from casebook.statistics.codes import Flags, Whole
from casebook.statistics.disclosure.generalised import Generalised
from casebook.statistics.disclosure.hierarchies import Hierarchy, encode
from casebook.statistics.disclosure.lattice import generalise, generalised_at
from casebook.statistics.disclosure.ready_ladders import (
    NO_INJURY,
    age_ladder,
    age_words,
    discipline_ladder,
    discipline_word,
    measured_ladder,
    region_ladder,
    sex_ladder,
    side_ladder,
)
from casebook.storage import export_rows
from casebook.storage.session import Unit

_PATHOLOGIES: Final = tuple(Pathology)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class People:
    """Runners whose consent covers the purpose, as they are on record and as they leave.

    Parameters
    ----------
    ids : ndarray of int, shape (runners,)
        In the order of the store.
    first : mapping of int to date
        First visit by runner id; absent where there was none.
    injuries : mapping of int to row
        The complaint that region and side are told of, by runner id.
    further : mapping of int to int
        How many more complaints each has.
    tissue : ndarray of int, shape (runners,)
        Position in `Pathology`; -1 without a complaint.
    traits : tuple of Trait
        Quasi-identifiers that leave.
    codes : ndarray of int, shape (runners, traits)
        As recorded.
    made : Generalised
    registered : int
        Runners of the clinic by the day, consenting or not; of those registered later, such whose
        consent is older.
    """

    ids: Whole
    first: Mapping[int, date]
    injuries: Mapping[int, Any]
    further: Mapping[int, int]
    tissue: Whole
    traits: tuple[Trait, ...]
    codes: Whole
    made: Generalised
    registered: int
    as_of: date

    @property
    def leaving(self) -> Flags:
        """Who is exported: all but those who would be known among too few; shape (runners,)."""
        return ~self.made.left_out

    def words(self) -> pd.DataFrame:
        """Quasi-identifiers as they leave, a row for each of `ids`."""
        return pd.DataFrame(
            {trait.value: self.made.words(at) for at, trait in enumerate(self.traits)}
        )

    @property
    def injury_told(self) -> Flags:
        """Whether it leaves that a runner has a complaint or none; shape (runners,)."""
        told = np.zeros(len(self.ids), dtype=np.bool_)
        for at, trait in enumerate(self.traits):
            if trait in {Trait.REGION, Trait.SIDE}:
                words = self.made.words(at)
                told |= np.array([word != WITHHELD for word in words], dtype=np.bool_)
        return told

    @property
    def region_exact(self) -> Flags:
        """Whether a runner's region leaves as it was recorded; shape (runners,)."""
        return self._exact(Trait.REGION)

    @property
    def side_exact(self) -> Flags:
        """Whether a runner's side leaves as it was recorded; shape (runners,)."""
        return self._exact(Trait.SIDE)

    def _exact(self, trait: Trait) -> Flags:
        if trait not in self.traits:
            return np.zeros(len(self.ids), dtype=np.bool_)
        at = self.traits.index(trait)
        exact = self.made.levels[at] == 0
        return exact & (self.made.codes[:, at] >= 0)


def load_people(
    unit: Unit,
    casebook: Casebook,
    settings: ExportSettings,
    today: date,
    *,
    carried: Sequence[Mapping[str, int]] = (),
) -> People:
    """Who consents, and the least coarse way to make them alike.

    Parameters
    ----------
    carried : sequence of mapping of str to int
        Rungs of earlier exports with the same key, by quasi-identifier. Whoever holds those and
        this one can join them by pseudonym, and what one coarsens another could give back; so
        none is left for a finer one, and what one left out stays withheld.
    today : date
        A consent that was withdrawn by then does not count, whatever day the export is as of.
    """
    rows = export_rows.consenting(
        unit, casebook.clinic_id, settings.purpose, as_of=settings.as_of, today=today
    )
    first = export_rows.first_visits(unit, until=settings.as_of)
    injuries, further = _index_injuries(unit, settings.as_of)
    own = [injuries.get(row.id) for row in rows]
    tissue = np.array(
        [-1 if one is None else _PATHOLOGIES.index(one.pathology) for one in own], dtype=np.int64
    )
    traits = settings.traits
    found = _quasi_identifiers(rows, own, first, settings.k)
    ladders = [found[trait][0] for trait in traits]
    codes = np.stack([found[trait][1] for trait in traits], axis=1)
    weights = [WEIGHTS[trait] for trait in traits]
    # Runners without a complaint have nothing that a class could give away: each counts as a
    # kind of its own.
    sensitive = np.where(tissue < 0, len(_PATHOLOGIES) + np.arange(len(tissue)), tissue)
    made = generalise(
        codes,
        ladders,
        k=settings.k,
        sensitive=sensitive,
        diversity=settings.diversity,
        weights=weights,
    )
    kept = [
        max(one.get(trait, ladder.levels - 1) for one in carried)
        for trait, ladder in zip(traits, ladders, strict=True)
        if carried
    ]
    if kept and kept != list(made.levels):
        made = generalised_at(
            codes,
            ladders,
            kept,
            k=settings.k,
            sensitive=sensitive,
            diversity=settings.diversity,
            weights=weights,
        )
    return People(
        ids=np.array([row.id for row in rows], dtype=np.int64),
        first=first,
        injuries=injuries,
        further=further,
        tissue=tissue,
        traits=traits,
        codes=codes,
        made=made,
        registered=export_rows.registered(unit, casebook.clinic_id, until=settings.as_of)
        + sum((row.registered_on or settings.as_of) > settings.as_of for row in rows),
        as_of=settings.as_of,
    )


def _index_injuries(unit: Unit, until: date) -> tuple[dict[int, Any], dict[int, int]]:
    """The complaint of the first programme, else the first one; and how many more there are."""
    by_id: dict[int, Any] = {}
    of_runner: defaultdict[int, list[int]] = defaultdict(list)
    for row in export_rows.injuries(unit, until=until):
        by_id[row.id] = row
        of_runner[row.runner_id].append(row.id)
    chosen = {runner_id: ids[0] for runner_id, ids in of_runner.items()}
    seen: set[int] = set()
    for programme in export_rows.programmes(unit, until=until):
        if programme.runner_id not in seen and programme.injury_id in by_id:
            chosen[programme.runner_id] = programme.injury_id
        seen.add(programme.runner_id)
    return (
        {runner_id: by_id[injury_id] for runner_id, injury_id in chosen.items()},
        {runner_id: len(ids) - 1 for runner_id, ids in of_runner.items()},
    )


def _quasi_identifiers(
    rows: Sequence[Any], injuries: Sequence[Any], first: Mapping[int, date], k: int
) -> dict[Trait, tuple[Hierarchy, Whole]]:
    """Ladder of each and what is recorded of every runner, shape (runners,)."""
    ages = [_age(row.birth_year, first.get(row.id)) for row in rows]
    regions = [NO_INJURY if one is None else one.region.value for one in injuries]
    sides = [NO_INJURY if one is None else one.side.value for one in injuries]
    told = {
        Trait.SEX: (sex_ladder(), [row.sex.value for row in rows]),
        Trait.AGE: (age_ladder(), age_words(ages)),
        Trait.DISCIPLINE: (discipline_ladder(), [discipline_word(row.discipline) for row in rows]),
        Trait.REGION: (region_ladder(), regions),
        Trait.SIDE: (side_ladder(), sides),
    }
    return {trait: (ladder, encode(ladder, words)) for trait, (ladder, words) in told.items()} | {
        Trait.HEIGHT: measured_ladder(
            "height_band", _numbers(rows, "height_cm"), step=HEIGHT_STEP_CM, k=k, unit="cm"
        ),
        Trait.MASS: measured_ladder(
            "mass_band", _numbers(rows, "mass_kg"), step=MASS_STEP_KG, k=k, unit="kg"
        ),
    }


def _numbers(rows: Sequence[Any], column: str) -> list[float]:
    given = (getattr(row, column) for row in rows)
    return [float("nan") if number is None else float(number) for number in given]


def _age(birth_year: int | None, first: date | None) -> float:
    """Age at the first visit in years; NaN where it cannot be told."""
    if birth_year is None or first is None or first.year < birth_year:
        return float("nan")
    return float(first.year - birth_year)


def runners_table(people: People, key: ExportKey) -> pd.DataFrame:
    """Rows of the table runners, by pseudonym; the index is the runner's id."""
    table = people.words()
    table.insert(0, "runner", [key.pseudonym(Kind.RUNNER, one) for one in people.ids])
    table.index = pd.Index(people.ids)
    return table[people.leaving].sort_values("runner")


def injuries_table(people: People, key: ExportKey, runners: pd.DataFrame) -> pd.DataFrame:
    """Rows of the table injuries, in the order of the runners."""
    told = {one for one, shown in zip(people.ids, people.injury_told, strict=True) if shown}
    rows = []
    for runner_id, pseudonym in runners["runner"].items():
        injury = people.injuries.get(int(str(runner_id)))
        if injury is None or runner_id not in told:
            continue
        rows.append(
            {
                "injury": key.pseudonym(Kind.INJURY, injury.id),
                "runner": pseudonym,
                "tissue": injury.pathology.value,
                "onset": injury.onset.value,
                "occurrence": injury.occurrence.value,
                "course": injury.course.value,
                "onset_weeks": _weeks(injury.onset_on, people.first.get(injury.runner_id)),
                "first_run_days": _days(injury.onset_on, injury.returned_on, people.as_of),
                "full_return_days": _days(injury.onset_on, injury.fully_back_on, people.as_of),
                "further_injuries": FURTHER[min(people.further[injury.runner_id], 2)],
            }
        )
    columns = (
        "injury",
        "runner",
        "tissue",
        "onset",
        "occurrence",
        "course",
        "onset_weeks",
        "first_run_days",
        "full_return_days",
        "further_injuries",
    )
    return pd.DataFrame(rows, columns=pd.Index(columns)).astype(
        {"onset_weeks": "Int64", "first_run_days": "Int64", "full_return_days": "Int64"}
    )


def _weeks(onset: date, first: date | None) -> int | None:
    if first is None:
        return None
    weeks = (first - onset).days // 7
    return max(-MOST_ONSET_WEEKS, min(MOST_ONSET_WEEKS, weeks))


def _days(onset: date, then: date | None, until: date) -> int | None:
    if then is None or then > until:
        return None
    return min(MOST_RETURN_DAYS, (then - onset).days // 7 * 7)
