"""Programmes, hypotheses, complaints and cautions on the command line, in words and as objects."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

from casebook.domain.cautions import Finding
from casebook.services import clock
from casebook.services.cautioning import record_findings
from casebook.services.keeping import open_casebook
from casebook.services.registering import record_injury
from tests.builders import an_injury
from tests.cli.conftest import Casebook
from tests.services.test_plan_and_outcome import START, fill, wrote


@pytest.fixture(scope="module")
def planned(sqlite_furnished: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One runner with a programme, a hypothesis written before it, a complaint and a finding."""
    path = tmp_path_factory.mktemp("planned") / "casebook.sqlite"
    shutil.copyfile(sqlite_furnished, path)
    casebook = open_casebook(str(path))
    programme_id = fill(casebook)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(clock, "today", lambda: date(2026, 3, 1))
        wrote(casebook, programme_id)
    record_findings(casebook, "T-001", START, 1, {Finding.NUMBNESS: True}, by="kim")
    record_injury(casebook, an_injury(fully_back_on=date(2026, 1, 20)))
    casebook.close()
    return path


def test_a_programme_is_told_with_its_gaps_targets_and_effect(
    casebook: Casebook, planned: Path
) -> None:
    said = casebook("programme", "T-001", "--db", planned)
    assert said.code == 0
    for words in ("First (2026-03-02 to", "Still empty:", "CERT 12", "Targets:", "met", "says why"):
        assert words in said.out
    [one] = casebook("programme", "T-001", "--db", planned, "--json").report["programmes"]
    assert (one["version"], one["targets"][0]["call"]) == (1, "met")
    # A gap that closed from the wrong side is met and no gain, for a machine as on the page.
    assert (one["targets"][0]["hollow"], one["targets"][0]["near"]) == (False, True)
    assert {measure["hollow"] for measure in one["measures"]} == {False}
    assert any(measure["words"] in one["paragraph"] for measure in one["measures"])
    # The target on the left side, and the asymmetry that the hypothesis says should follow.
    assert one["effect"]["targeted"]["improved"] == 2
    assert "12" in {state["item"] for state in one["still_empty"]}


def test_hypotheses_are_told_link_by_link_and_calibrated_over_the_caseload(
    casebook: Casebook, planned: Path
) -> None:
    said = casebook("hypotheses", "T-001", "--db", planned)
    assert "moved as predicted, beyond error" in said.out
    assert "does not show why" in said.out
    [one] = casebook("hypotheses", "T-001", "--db", planned, "--json").report["hypotheses"]
    assert (one["outcome"], one["counts"], len(one["links"])) == ("held", 1, 3)
    whole = casebook("hypotheses", "--calibration", "--db", planned)
    assert "Of 1 hypothesis of which every prediction could be told, 1 held" in whole.out
    report = casebook("hypotheses", "--calibration", "--db", planned, "--json").report
    assert report["calibrations"][0]["brier"]["score"] == pytest.approx(0.09)
    for wrong in (
        ("hypotheses",),
        ("hypotheses", "T-001", "--calibration"),
        ("hypotheses", "T-001", "--since", "2026-01-01"),
        ("hypotheses", "--calibration", "--since", "January"),
    ):
        assert casebook(*wrong, "--db", planned).code == 2


def test_the_course_of_a_complaint_is_told_on_one_time_line(
    casebook: Casebook, planned: Path
) -> None:
    said = casebook("course", "T-001", "--db", planned)
    assert "first complaint on record" in said.out
    assert "7 days lost (1 to 7)" in said.out
    assert "Caution: Signs from the nerves" in said.out
    [one] = casebook("course", "T-001", "--db", planned, "--json").report["complaints"]
    assert (one["days_lost"], one["time_loss"]) == (7, "days_1_to_7")


def test_cautions_are_listed_with_their_source(casebook: Casebook, planned: Path) -> None:
    said = casebook("cautions", "T-001", "--db", planned)
    assert "consider referral, follow local pathways" in said.out
    assert "Finucane" in said.out
    [one] = casebook("cautions", "T-001", "--db", planned, "--json").report["cautions"]
    assert (one["rule"], one["seen"]) == ("neurological_signs", None)


@pytest.mark.parametrize("name", ["programme", "hypotheses", "course", "cautions"])
def test_a_runner_who_is_not_registered_is_refused(
    casebook: Casebook, planned: Path, name: str
) -> None:
    said = casebook(name, "T-002", "--db", planned)
    assert said.code == 1
    assert "no runner 'T-002'" in said.err
