"""De-identified exports: looked at beforehand, written, and kept in a log."""

from __future__ import annotations

import json
import secrets
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final

import pandas as pd

from casebook.domain.errors import refuse
from casebook.domain.export_tables import export_package
from casebook.domain.exporting import ExportKey, ExportSettings
from casebook.domain.packages import Manifest
from casebook.domain.people import Purpose, clean_code
from casebook.domain.risk_words import RiskFacts, nobody_words, risk_page, risk_sentences
from casebook.packing.writing import PackageWriter, check_place
from casebook.services import clock
from casebook.services.exporting_earlier import beside_earlier
from casebook.services.exporting_groups import flow_table, outcomes_table, rounding_of
from casebook.services.exporting_hidden import without_giveaways
from casebook.services.exporting_keys import fresh_key
from casebook.services.exporting_measured import measured_of
from casebook.services.exporting_measured_tables import measured_tables
from casebook.services.exporting_plan import Plan, facts_of, planned
from casebook.services.exporting_programmes import prescribed_tables
from casebook.services.exporting_targets import Prescribed, target_calls
from casebook.services.opened import Casebook
from casebook.services.registering import get_runner_row
from casebook.storage import export_runs, history
from casebook.storage.export_runs import ExportRun
from casebook.storage.session import Unit, reading, writing

RISK_PAGE: Final = "risk.md"
# Runners whose values are held at a time.
RUNNERS_AT_ONCE: Final = 500
RUNNERS_PREVIEWED: Final = 5
SECRET_BYTES: Final = 32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExportPreview:
    """What an export would be; nothing of it is written or logged.

    Parameters
    ----------
    facts : RiskFacts
    sentences : tuple of str
        The risk in words.
    page : str
        The risk page as it would stand in the package (Markdown).
    metrics : tuple of str
        Keys of the metrics that would leave.
    first_rows : mapping of str to DataFrame
        The first rows of each table, under pseudonyms made for the preview alone.
    """

    settings: ExportSettings
    facts: RiskFacts
    sentences: tuple[str, ...]
    page: str
    metrics: tuple[str, ...]
    first_rows: Mapping[str, pd.DataFrame]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportReport:
    """An export as it was written and logged.

    Parameters
    ----------
    number : int
        In the log.
    files : mapping of str to str
        SHA-256 of every file, the manifest's among them.
    n_rows : mapping of str to int
        By table.
    """

    number: int
    at: datetime
    by: str
    folder: Path
    settings: ExportSettings
    key_fingerprint: str
    files: Mapping[str, str]
    n_rows: Mapping[str, int]
    facts: RiskFacts
    sentences: tuple[str, ...]
    page: str = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoggedExport:
    """An export of the log, as a face shows it."""

    number: int
    at: datetime
    by: str
    purpose: Purpose
    settings: str
    key_fingerprint: str
    files: Mapping[str, str]
    n_rows: Mapping[str, int]
    risk: Mapping[str, Any]
    runners: int


def preview_export(
    casebook: Casebook, settings: ExportSettings, *, key: ExportKey | None = None
) -> ExportPreview:
    """What an export with these settings would hold, and how alike its runners would look.

    Parameters
    ----------
    key : ExportKey or None
        One that is to be carried on; None for a new one.

    Raises
    ------
    InputRefused
        For a day to come, or a metric that the catalogue does not have.
    """
    with reading(casebook.engine) as unit:
        plan = planned(unit, casebook, settings, key or fresh_key(), today=clock.today())
        rows: dict[str, pd.DataFrame] = {"runners": plan.runners, "injuries": plan.injuries}
        few = plan.runners["runner"].iloc[:RUNNERS_PREVIEWED]
        if len(few):
            rows |= dict(_batch_tables(unit, plan, few))
        earlier = _beside_earlier(unit, casebook, plan)
    facts = facts_of(plan)
    return ExportPreview(
        settings=settings,
        facts=facts,
        sentences=(*risk_sentences(facts, settings), *earlier),
        page=risk_page(facts, settings),
        metrics=plan.lists.metrics,
        first_rows={
            name: frame.head(RUNNERS_PREVIEWED).reset_index(drop=True)
            for name, frame in rows.items()
        },
    )


def export_audit(
    casebook: Casebook, settings: ExportSettings, folder: Path, *, key: ExportKey, by: str
) -> ExportReport:
    """Write a de-identified export into a folder, and log it.

    The same casebook, settings and key give the same bytes.

    Parameters
    ----------
    folder : Path
        To be made, or empty.
    key : ExportKey
        `exporting_keys.fresh_key()`, unless pseudonyms are to go on as in an earlier export.
    by : str
        Code of whoever exports; asked for.

    Raises
    ------
    InputRefused
        For a day to come, an unknown metric, no `by`, or when nobody can leave under the
        settings.
    Conflict
        When something stands in the folder.
    StoreUnavailable
        When it cannot be written. In each case nothing is written, and nothing logged unless
        something came to stand in the folder at the very last moment.
    """
    by = clean_code(by, column="by")
    check_place(folder)
    secret = _secret(casebook)
    with reading(casebook.engine) as unit:
        plan = planned(unit, casebook, settings, key, today=clock.today())
        facts = facts_of(plan)
        if not facts.exported:
            raise _nobody(facts, settings)
        page = risk_page(facts, settings)
        earlier = _beside_earlier(unit, casebook, plan)
        package = export_package(settings, plan.lists)
        with PackageWriter(folder, package, formats=settings.formats) as writer:
            n_rows = _write(writer, unit, plan, secret)
            logged: list[tuple[int, ExportRun]] = []

            def log(manifest: Manifest) -> None:
                run = ExportRun(
                    number=0,
                    at=clock.now(),
                    by=by,
                    purpose=settings.purpose,
                    settings=settings.canonical(),
                    key_fingerprint=key.fingerprint,
                    files=_files(manifest),
                    n_rows=n_rows,
                    risk=figures(facts),
                    runners=tuple(int(str(one)) for one in plan.runners.index),
                )
                logged.append((_logged(casebook, run), run))

            # Logged before the files stand: a kill in between leaves a line too many in the log
            # and never tables that nobody logged.
            packed = writer.finish(
                texts={RISK_PAGE: page}, extra=_extra(settings, key, facts), before_naming=log
            )
    ((number, run),) = logged
    return ExportReport(
        number=number,
        at=run.at,
        by=by,
        folder=packed.folder,
        settings=settings,
        key_fingerprint=run.key_fingerprint,
        files=run.files,
        n_rows=n_rows,
        facts=facts,
        sentences=(*risk_sentences(facts, settings), *earlier),
        page=page,
    )


def list_exports(casebook: Casebook) -> tuple[LoggedExport, ...]:
    """Every export there was, newest first."""
    with reading(casebook.engine) as unit:
        runs = export_runs.runs(unit, casebook.clinic_id)
    return tuple(_told(run) for run in runs)


def exports_of_runner(casebook: Casebook, code: str) -> tuple[LoggedExport, ...]:
    """Every export that held a runner's records, newest first: whom to tell of a withdrawal.

    Raises
    ------
    NotFound
        For a runner who is not registered.
    """
    with reading(casebook.engine) as unit:
        runner_id, _ = get_runner_row(unit, casebook, code)
        runs = export_runs.runs(unit, casebook.clinic_id)
    return tuple(_told(run) for run in runs if runner_id in run.runners)


def figures(facts: RiskFacts) -> dict[str, Any]:
    """The numbers of the risk that are logged and stand in the manifest."""
    return {
        "k": facts.k,
        "l": facts.diversity,
        "largest": facts.largest,
        "mean": facts.mean,
        "loss": facts.loss,
        "exported": facts.exported,
        "changed": facts.changed,
        "withheld": facts.withheld,
        "levels": {trait.value: level for trait, (level, _) in facts.levels.items()},
    }


def _told(run: ExportRun) -> LoggedExport:
    return LoggedExport(
        number=run.number,
        at=run.at,
        by=run.by,
        purpose=run.purpose,
        settings=run.settings,
        key_fingerprint=run.key_fingerprint,
        files=run.files,
        n_rows=run.n_rows,
        risk=run.risk,
        runners=len(run.runners),
    )


def _beside_earlier(unit: Unit, casebook: Casebook, plan: Plan) -> tuple[str, ...]:
    """Nothing of it stands on the page of risk, which leaves and says the same each time."""
    levels = {trait.value: level for trait, (level, _) in facts_of(plan).levels.items()}
    leaving = [int(str(one)) for one in plan.runners.index]
    return beside_earlier(export_runs.runs(unit, casebook.clinic_id), leaving, levels)


def _secret(casebook: Casebook) -> bytes:
    """The clinic's secret for rounding, made at the first export."""
    with writing(casebook.engine) as unit:
        fresh = secrets.token_hex(SECRET_BYTES)
        text = export_runs.secret_of(unit, casebook.clinic_id, fresh=fresh)
        unit.commit()
    return bytes.fromhex(text)


def _write(writer: PackageWriter, unit: Unit, plan: Plan, secret: bytes) -> dict[str, int]:
    """Every table into the package; returns rows by table."""
    n_rows: Counter[str] = Counter({table.name: 0 for table in writer.package.tables})

    def add(table: str, frame: pd.DataFrame) -> None:
        if len(frame):
            writer.add(table, frame)
            n_rows[table] += len(frame)

    add("runners", plan.runners)
    add("injuries", plan.injuries)
    add("metrics", plan.metrics_table)
    pseudonyms = plan.runners["runner"]
    for start in range(0, len(pseudonyms), RUNNERS_AT_ONCE):
        for table, frame in _batch_tables(
            unit, plan, pseudonyms.iloc[start : start + RUNNERS_AT_ONCE]
        ):
            add(table, frame)
    # Who does not leave is not counted either: whoever takes the other tables, which are exact,
    # from the rounded counts would now and then find the few who are left out.
    by = rounding_of(
        [int(str(one)) for one in plan.runners.index], secret=secret, minimum=plan.settings.k
    )
    add("flow", flow_table(plan.groups, by))
    add("outcomes_by_group", outcomes_table(plan.groups, plan.measuring.metrics, by))
    return dict(n_rows)


def _batch_tables(unit: Unit, plan: Plan, runners: pd.Series) -> Iterator[tuple[str, pd.DataFrame]]:
    """Tables of some runners, those that are linked to first; counts them, too."""
    ids = [int(str(one)) for one in runners.index]
    found = measured_of(unit, plan.measuring, ids)
    plan.groups.count(ids, found, plan.measuring.metrics)
    told = None if found is None else without_giveaways(plan.measuring, found)
    if told is not None:
        yield from measured_tables(plan.measuring, told, runners).items()

    def calls(rows: Prescribed) -> list[str]:
        return target_calls(unit, plan.measuring, rows, found, told)

    yield from prescribed_tables(unit, plan.prescribing, runners, calls).items()


def _extra(settings: ExportSettings, key: ExportKey, facts: RiskFacts) -> dict[str, Any]:
    return {
        "settings": json.loads(settings.canonical()),
        "key_fingerprint": key.fingerprint,
        "risk": figures(facts),
    }


def _files(manifest: Manifest) -> dict[str, str]:
    return {
        **{file.name: file.sha256 for file in manifest.files},
        "manifest.json": manifest.sha256,
    }


def _logged(casebook: Casebook, run: ExportRun) -> int:
    """The export's number in the log."""
    with writing(casebook.engine) as unit:
        number, change = export_runs.add_run(unit, casebook.clinic_id, run)
        history.append(unit, [change], by=run.by, at=run.at)
        unit.commit()
    return number


def _nobody(facts: RiskFacts, settings: ExportSettings) -> Exception:
    if not facts.consenting:
        return refuse(
            "nobody_consents",
            f"{nobody_words(facts, settings)} Nothing was written.",
            column="purpose",
            value=settings.purpose.value,
        )
    return refuse(
        "nobody_alike",
        f"{nobody_words(facts, settings)} Nothing was written.",
        column="k",
        value=settings.k,
    )
