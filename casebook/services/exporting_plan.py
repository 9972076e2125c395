"""What is settled before the first row of an export is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from casebook.catalogue.exercises import starter_exercises
from casebook.catalogue.loader import starter_metrics
from casebook.domain.errors import InputRefused, Problem, refuse
from casebook.domain.export_tables import WITHHELD, Lists
from casebook.domain.exporting import ExportKey, ExportSettings
from casebook.domain.metrics import Metric
from casebook.domain.risk_words import RiskFacts
from casebook.intake.nearest import nearest
from casebook.services.exporting_groups import Groups
from casebook.services.exporting_measured import Measuring, clinicians_of, ends_of
from casebook.services.exporting_people import People, injuries_table, load_people, runners_table
from casebook.services.exporting_programmes import Prescribing
from casebook.services.opened import Casebook
from casebook.statistics.disclosure.generalised import WHYS, Why
from casebook.statistics.disclosure.risk import risks
from casebook.storage import export_rows, export_runs
from casebook.storage.cases import figures_in_force, metrics_by_id
from casebook.storage.session import Unit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """Who leaves and as what, and what leaves of them.

    Parameters
    ----------
    runners, injuries, metrics_table : DataFrame
        Rows of these tables; the index of `runners` is the runner's id.
    """

    settings: ExportSettings
    people: People
    lists: Lists
    runners: pd.DataFrame
    injuries: pd.DataFrame
    metrics_table: pd.DataFrame
    measuring: Measuring
    prescribing: Prescribing
    groups: Groups


def planned(
    unit: Unit, casebook: Casebook, settings: ExportSettings, key: ExportKey, *, today: date
) -> Plan:
    """Settle everything that needs all runners at once.

    Raises
    ------
    InputRefused
        For a day to come, or a metric that the catalogue does not have.
    """
    if settings.as_of > today:
        raise refuse(
            "as_of_to_come",
            f"The day {settings.as_of} is still to come; nobody knows yet who will consent then. "
            f"Give {today} or an earlier day.",
            column="as_of",
            value=settings.as_of,
        )
    starter = starter_metrics()
    metrics = _metrics(unit, settings, {metric.key for metric in starter})
    people = load_people(
        unit,
        casebook,
        settings,
        today,
        carried=export_runs.levels_with(unit, casebook.clinic_id, key.fingerprint),
    )
    runners = runners_table(people, key)
    ids = [int(str(one)) for one in runners.index]
    known = tuple(metrics.values())
    units = tuple(dict.fromkeys(metric.unit for metric in starter))
    exercises = tuple(one.key for one in starter_exercises())
    return Plan(
        settings=settings,
        people=people,
        lists=Lists(
            bands=_bands(people),
            metrics=tuple(metric.key for metric in known),
            units=units,
            exercises=exercises,
        ),
        runners=runners,
        injuries=injuries_table(people, key, runners),
        metrics_table=_metrics_table(known, units),
        measuring=Measuring(
            settings=settings,
            key=key,
            first=people.first,
            metrics=known,
            ids=np.fromiter(metrics, dtype=np.int64, count=len(metrics)),
            figures=tuple(
                one for one in figures_in_force(unit) if one.metric in {m.key for m in known}
            ),
            ends=ends_of(unit, ids, settings),
            clinicians=clinicians_of(unit, ids, settings, key),
            region_exact=frozenset(people.ids[people.region_exact].tolist()),
            side_exact=frozenset(people.ids[people.side_exact].tolist()),
        ),
        prescribing=Prescribing(
            as_of=settings.as_of,
            key=key,
            first=people.first,
            injuries={runner_id: one.id for runner_id, one in people.injuries.items()},
            injury_told=frozenset(people.ids[people.injury_told].tolist()),
            region_exact=frozenset(people.ids[people.region_exact].tolist()),
            exercises=frozenset(exercises),
            metrics=frozenset(metric.key for metric in known),
        ),
        groups=Groups(kinds=_first_kinds(unit, settings.as_of)),
    )


def _metrics(unit: Unit, settings: ExportSettings, starter: AbstractSet[str]) -> dict[int, Metric]:
    """Metrics that leave by id: the starter's, and the clinic's own that are named."""
    known = metrics_by_id(unit)
    keys = {metric.key for metric in known.values()}
    strange = [key for key in settings.metrics if key not in keys]
    if strange:
        raise InputRefused(tuple(_unknown(key, nearest(key, keys)) for key in strange))
    wanted = starter | set(settings.metrics)
    return {metric_id: metric for metric_id, metric in known.items() if metric.key in wanted}


def _unknown(key: str, near: Sequence[str]) -> Problem:
    hint = f" Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
    return Problem(
        code="unknown_metric",
        column="metric",
        value=key,
        message=f"the metric '{key}' is not in the catalogue.{hint} Nothing was written.",
    )


def _first_kinds(unit: Unit, until: date) -> dict[int, str]:
    kinds: dict[int, str] = {}
    for row in export_rows.programmes(unit, until=until):
        kinds.setdefault(row.runner_id, row.kind.value)
    return kinds


def _bands(people: People) -> Mapping[str, tuple[str, ...]]:
    made = people.made
    return {
        trait.value: tuple(dict.fromkeys([*ladder.words[level], WITHHELD]))
        for trait, ladder, level in zip(people.traits, made.hierarchies, made.levels, strict=True)
    }


def _metrics_table(metrics: Sequence[Metric], units: Sequence[str]) -> pd.DataFrame:
    """What is said of a metric: nothing that a clinic may have written itself."""
    return pd.DataFrame(
        {
            "metric": [one.key for one in metrics],
            "unit": [one.unit if one.unit in units else None for one in metrics],
            "scale": [one.scale.value for one in metrics],
            "sided": [one.sided for one in metrics],
            "better": [one.better.value for one in metrics],
            "asymmetry_form": [one.asymmetry_form.value for one in metrics],
            "important_change": pd.array(
                [one.important_change for one in metrics], dtype="Float64"
            ),
        }
    )


def facts_of(plan: Plan) -> RiskFacts:
    """The numbers of the risk."""
    people, made = plan.people, plan.people.made
    before = risks(people.codes, made, sensitive=people.tissue).before
    after = risks(people.codes, made, sensitive=people.tissue).after
    hidden = made.withheld | made.left_out
    leaving = people.leaving
    return RiskFacts(
        registered=people.registered,
        consenting=len(people.ids),
        exported=int(leaving.sum()),
        changed=int((made.changed & leaving).sum()),
        withheld=int(made.withheld.sum()),
        left_out=int(made.left_out.sum()),
        too_few=int((hidden & (made.why == WHYS.index(Why.CLASS_TOO_SMALL))).sum()),
        too_alike=int((hidden & (made.why == WHYS.index(Why.CLASS_TOO_ALIKE))).sum()),
        k=made.k,
        diversity=made.diversity or 0,
        largest=after.largest,
        mean=after.mean,
        largest_before=before.largest,
        mean_before=before.mean,
        unique_before=before.unique,
        loss=made.loss,
        loss_of=dict(zip(people.traits, made.loss_of, strict=True)),
        levels={
            trait: (level, ladder.levels)
            for trait, ladder, level in zip(
                people.traits, made.hierarchies, made.levels, strict=True
            )
        },
        complaints_withheld=int((leaving & ~people.injury_told).sum()),
        exercises_withheld=int((leaving & ~people.region_exact).sum()),
        combinations=made.nodes,
        worked_out=made.nodes_seen,
    )
