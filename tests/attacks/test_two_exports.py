"""Who holds two exports: the same bytes again, no pseudonym in common, no leaver in the sums."""

from __future__ import annotations

import csv
import hashlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import update

from casebook.domain.exporting import ExportKey, ExportSettings, Trait
from casebook.domain.metrics import Metric
from casebook.domain.packages import FileFormat
from casebook.domain.people import Consent, Purpose, Runner, Sex
from casebook.domain.verdicts import Call, What
from casebook.services import clock
from casebook.services.backing_up import back_up
from casebook.services.exporting_audit import (
    export_audit,
    exports_of_runner,
    list_exports,
    preview_export,
)
from casebook.services.exporting_groups import KINDS, Groups, outcomes_table, rounding_of
from casebook.services.exporting_keys import fresh_key
from casebook.services.keeping import Casebook, check_casebook, open_casebook
from casebook.services.registering import (
    list_consents,
    list_runners,
    record_consent,
    register_runner,
)
from casebook.services.restoring import restore
from casebook.statistics.codes import CALLS
from casebook.storage.cases import metrics_by_id
from casebook.storage.session import reading, writing
from casebook.storage.tables import RunnerRow
from tests.exportable import UNTIL, add_cohort

SETTINGS = ExportSettings(purpose=Purpose.AUDIT, as_of=UNTIL + timedelta(days=7), k=4)
FIRST, SECOND = ExportKey(secret=bytes(32)), ExportKey(secret=bytes([1]) * 32)
PSEUDONYMS = {
    "runners": ("runner",),
    "injuries": ("injury", "runner"),
    "programmes": ("programme", "runner"),
    "visits": ("visit", "runner", "clinician"),
}


@pytest.fixture
def casebook(sqlite_template: Path, tmp_path: Path) -> Iterator[Casebook]:
    path = tmp_path / "casebook.sqlite"
    path.write_bytes(sqlite_template.read_bytes())
    opened = open_casebook(str(path))
    add_cohort(opened, 36, metrics=1)
    yield opened
    opened.close()


def _pseudonyms(folder: Path) -> set[str]:
    found = set()
    for table, columns in PSEUDONYMS.items():
        with (folder / "data" / f"{table}.csv").open(newline="", encoding="utf-8") as file:
            for row in csv.DictReader(file):
                found |= {row[name] for name in columns if row.get(name)}
    return found - {"other"}


def _withdraw(casebook: Casebook, code: str) -> None:
    consent = list_consents(casebook, code)[0]
    record_consent(casebook, replace(consent, withdrawn_on=clock.today()), by="KM")


def test_the_same_key_and_settings_give_the_same_bytes_and_another_key_no_common_pseudonym(
    casebook: Casebook, tmp_path: Path
) -> None:
    settings = replace(SETTINGS, clinicians=True)
    once = export_audit(casebook, settings, tmp_path / "a", key=FIRST, by="KM")
    again = export_audit(casebook, settings, tmp_path / "b", key=FIRST, by="AB")
    assert once.files == again.files
    for name, digest in once.files.items():
        assert hashlib.sha256((tmp_path / "a" / name).read_bytes()).hexdigest() == digest
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    csv_only = replace(settings, formats=(FileFormat.CSV,))
    export_audit(casebook, csv_only, tmp_path / "c", key=SECOND, by="KM")
    assert len(_pseudonyms(tmp_path / "a")) > 100
    assert not _pseudonyms(tmp_path / "a") & _pseudonyms(tmp_path / "c")


def test_a_withdrawal_takes_effect_in_the_next_export_whatever_day_it_is_as_of(
    casebook: Casebook, tmp_path: Path
) -> None:
    settings = replace(SETTINGS, formats=(FileFormat.CSV,))
    before = export_audit(casebook, settings, tmp_path / "a", key=FIRST, by="KM")
    leaver = list_runners(casebook)[3].code
    _withdraw(casebook, leaver)
    # As of a day on which the consent still stood: it does not stand any more.
    after = export_audit(casebook, settings, tmp_path / "b", key=FIRST, by="KM")
    gone = _pseudonyms(tmp_path / "a") - _pseudonyms(tmp_path / "b")
    assert after.facts.consenting == before.facts.consenting - 1
    assert len([one for one in gone if one.startswith("R")]) >= 1
    assert [one.number for one in exports_of_runner(casebook, leaver)] == [before.number]
    other = replace(settings, purpose=Purpose.RESEARCH)
    assert preview_export(casebook, other).facts.exported == 0
    record_consent(
        casebook,
        Consent(runner=leaver, purpose=Purpose.RESEARCH, given_on=clock.today()),
        by="KM",
    )
    # Given only after the day that the export is as of.
    assert preview_export(casebook, other).facts.consenting == 0


def test_exports_that_a_key_joins_give_nothing_back_that_one_of_them_coarsened(
    casebook: Casebook, tmp_path: Path
) -> None:
    """The runners of one are joined with those of the other, after half of the clinic changed."""
    settings = replace(SETTINGS, formats=(FileFormat.CSV,))
    before = export_audit(casebook, settings, tmp_path / "a", key=FIRST, by="KM")
    with writing(casebook.engine) as unit:  # now another rung would lose least
        unit.execute(update(RunnerRow).values(birth_year=1990, sex="male", discipline="10 km"))
        unit.commit()
    new = export_audit(casebook, settings, tmp_path / "b", key=SECOND, by="KM")
    carried = export_audit(casebook, settings, tmp_path / "c", key=FIRST, by="KM")
    assert new.facts.levels != before.facts.levels
    assert carried.facts.levels == before.facts.levels
    assert carried.facts.k >= settings.k
    assert "exactly as coarse" in carried.page
    again = export_audit(casebook, settings, tmp_path / "d", key=FIRST, by="KM")
    assert again.files == carried.files
    assert preview_export(casebook, settings, key=FIRST).facts == carried.facts


def test_who_exports_is_told_that_an_earlier_one_beside_it_gives_more_away(
    casebook: Casebook, tmp_path: Path
) -> None:
    """Of 300 invented runners three exports with keys of their own, each of k 5, left 280 alone."""
    settings = replace(SETTINGS, formats=(FileFormat.CSV,))
    body = (Trait.HEIGHT, Trait.MASS, Trait.DISCIPLINE)
    complaint = replace(settings, leave_out=(Trait.SEX, Trait.AGE, *body))
    person = replace(settings, leave_out=(Trait.REGION, Trait.SIDE, *body))
    first = export_audit(casebook, complaint, tmp_path / "a", key=FIRST, by="KM")
    told = preview_export(casebook, person).sentences[-1]
    assert told.startswith(f"Export {first.number} held some of these runners, too, and tells more")
    assert "region of the complaint" in told
    # Not where this one tells nothing finer.
    less = replace(complaint, leave_out=(*complaint.leave_out, Trait.SIDE))
    assert not preview_export(casebook, less).sentences[-1].startswith("Export")
    second = export_audit(casebook, person, tmp_path / "b", key=SECOND, by="KM")
    assert told in second.sentences
    # It is for who exports and leaves with nothing.
    assert all(
        b"held some of these" not in path.read_bytes()
        for path in (tmp_path / "b").rglob("*") if path.is_file()
    )  # fmt: skip


def test_the_log_holds_what_happened_and_nobody_changes_it(
    sqlite_casebook: Casebook, tmp_path: Path
) -> None:
    casebook = sqlite_casebook
    for number in range(4):  # told of in the history, so that all of it can be checked
        register_runner(casebook, Runner(code=f"E-{number}", sex=Sex.FEMALE, birth_year=1990))
        consent = Consent(runner=f"E-{number}", purpose=Purpose.AUDIT, given_on=UNTIL)
        record_consent(casebook, consent, by="KM")
    settings = replace(SETTINGS, formats=(FileFormat.CSV,))
    report = export_audit(casebook, settings, tmp_path / "a", key=FIRST, by="KM")
    (logged,) = list_exports(casebook)
    assert (logged.number, logged.by, logged.purpose) == (report.number, "KM", Purpose.AUDIT)
    assert logged.settings == settings.canonical()
    assert logged.key_fingerprint == FIRST.fingerprint
    assert FIRST.secret.hex() not in str(logged)
    assert logged.files == report.files
    assert logged.runners == report.n_rows["runners"] == report.facts.exported
    assert abs((logged.at - clock.now()).total_seconds()) < 600
    assert check_casebook(casebook).ok
    back_up(casebook, tmp_path / "kept.zip")
    restore(tmp_path / "kept.zip", str(tmp_path / "again.sqlite"))
    again = open_casebook(str(tmp_path / "again.sqlite"))
    assert list_exports(again) == (logged,)
    assert export_audit(again, settings, tmp_path / "b", key=FIRST, by="KM").files == report.files
    again.close()
    with casebook.engine.connect() as connection:
        for statement in ("UPDATE export_run SET by = 'X'", "DELETE FROM export_run"):
            with pytest.raises(Exception, match="only ever added to"):
                connection.exec_driver_sql(statement)


def test_a_preview_writes_and_logs_nothing_and_says_what_the_export_says(
    casebook: Casebook, tmp_path: Path
) -> None:
    looked = preview_export(casebook, SETTINGS)
    assert list_exports(casebook) == ()
    report = export_audit(
        casebook, replace(SETTINGS, formats=(FileFormat.CSV,)), tmp_path / "a", key=fresh_key(),
        by="KM",
    )  # fmt: skip
    assert looked.facts == report.facts
    assert looked.page == report.page == (tmp_path / "a" / "risk.md").read_text(encoding="utf-8")
    assert {"runners", "visits", "values"} <= set(looked.first_rows)


def _outcomes(casebook: Casebook) -> tuple[Metric, list[tuple[str, Call, float]]]:
    """Thirty runners' last verdicts on one metric, invented."""
    with reading(casebook.engine) as unit:
        metric = next(
            one for one in metrics_by_id(unit).values() if one.key == "hip_abductor_strength"
        )
    rng = np.random.default_rng(5)
    calls = [Call.IMPROVED, Call.WORSENED, Call.UNCHANGED]
    told = [
        (str(rng.choice(KINDS[:2])), calls[int(rng.integers(0, 3))], float(rng.normal(-3, 4)))
        for _ in range(90)
    ]
    return metric, told


def _published(
    metric: Metric, told: list[tuple[str, Call, float]], members: list[int]
) -> dict[str, dict[str, float]]:
    groups, chosen = Groups(kinds={}), [told[one] for one in members]
    rows = [(KINDS.index(kind), CALLS.index(call), size) for kind, call, size in chosen]
    groups.rows[0, What.ASYMMETRY].append(np.array(rows))
    by = rounding_of(members, secret=b"the clinic's own, kept", minimum=5)
    table = outcomes_table(groups, [metric], by).set_index("programme")
    return {str(kind): dict(table.loc[kind]) for kind in table.index}


def test_taking_an_export_from_the_one_before_tells_nothing_of_the_one_who_left(
    casebook: Casebook,
) -> None:
    """The verdict of each runner, guessed from what fell when that runner alone had left."""
    metric, told = _outcomes(casebook)
    everybody = list(range(len(told)))
    before = _published(metric, told, everybody)
    calls = (Call.IMPROVED, Call.WORSENED, Call.UNCHANGED)
    right, off, largest = 0, [], Counter(one[1] for one in told).most_common(1)[0][1]
    for leaver in everybody:
        after = _published(metric, told, [one for one in everybody if one != leaver])
        kind, call, change = told[leaver]
        fell = {
            one: before[kind][one.value] - after[kind][one.value]
            for one in calls
            if before[kind][one.value] == before[kind][one.value]  # shown
        }
        guess = max(fell, key=lambda one: fell[one]) if fell else calls[0]
        right += guess is call
        was, now = before[kind], after[kind]
        off.append(
            abs(was["mean_change"] * was["runners"] - now["mean_change"] * now["runners"] - change)
        )
    # No better than always saying the most frequent verdict, with room for three standard errors.
    assert right <= largest + 3 * np.sqrt(len(told) * 2 / 9)
    # And the change worked out from both means is further off than the spread of all changes.
    assert np.median(off) > np.std([one[2] for one in told])
