"""What an export is asked for, its key, and what it says of itself."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.export_tables import QUASI_IDENTIFIERS, WEIGHTS, Lists, export_package
from casebook.domain.exporting import ExportKey, ExportSettings, Kind, Trait, key_of_text
from casebook.domain.packages import FieldType, FileFormat
from casebook.domain.people import Purpose
from casebook.domain.risk_words import (
    HEIGHT_STEP_CM,
    MASS_STEP_KG,
    NAMES,
    NOT_PROTECTED,
    RUNGS,
    RiskFacts,
    level_words,
    risk_page,
    risk_sentences,
)
from casebook.statistics.disclosure.ready_ladders import (
    age_ladder,
    discipline_ladder,
    measured_ladder,
    region_ladder,
    sex_ladder,
    side_ladder,
)

SETTINGS = ExportSettings(purpose=Purpose.AUDIT, as_of=date(2026, 3, 31))
FACTS = RiskFacts(
    registered=40,
    consenting=30,
    exported=28,
    changed=20,
    withheld=5,
    left_out=2,
    too_few=6,
    too_alike=1,
    k=5,
    diversity=2,
    largest=0.2,
    mean=0.125,
    largest_before=1.0,
    mean_before=0.9,
    unique_before=1,
    loss=0.31,
    loss_of=dict.fromkeys(QUASI_IDENTIFIERS, 0.31),
    levels=dict.fromkeys(QUASI_IDENTIFIERS, (1, 3)),
    complaints_withheld=5,
    exercises_withheld=9,
    combinations=2430,
    worked_out=17,
)


@pytest.mark.parametrize(
    ("changes", "column"),
    [
        ({"k": 1, "diversity": 1}, "k"),
        ({"k": 1001, "diversity": 1}, "k"),
        ({"diversity": 0}, "l"),
        ({"diversity": 6}, "l"),
        ({"formats": (FileFormat.XLSX,)}, "format"),
        ({"leave_out": tuple(Trait)}, "leave_out"),
    ],
)
def test_settings_that_protect_nobody_are_refused(changes: dict[str, object], column: str) -> None:
    with pytest.raises(InputRefused) as refused:
        replace(SETTINGS, **changes)  # type: ignore[arg-type]
    assert [problem.column for problem in refused.value.problems] == [column]


def test_the_same_settings_are_written_the_same() -> None:
    own = replace(SETTINGS, metrics=("b", "a", "b"), formats=(FileFormat.XLSX, FileFormat.CSV))
    assert own.canonical() == replace(own, metrics=("a", "b")).canonical()
    assert json.loads(own.canonical()) == {
        "version": 2,
        "purpose": "audit",
        "as_of": "2026-03-31",
        "k": 5,
        "l": 2,
        "metrics": ["a", "b"],
        "formats": ["csv", "xlsx"],
        "clinicians": False,
        "leave_out": [],
    }
    less = replace(SETTINGS, leave_out=(Trait.MASS, Trait.HEIGHT, Trait.MASS))
    assert json.loads(less.canonical())["leave_out"] == ["height_band", "mass_band"]
    assert less.traits == tuple(Trait)[:5]


def test_a_key_is_known_by_its_fingerprint_and_never_shown() -> None:
    key = ExportKey(secret=bytes(range(32)))
    assert key_of_text(f"  {key.text()}\n") == key
    assert len(key.fingerprint) == 64
    assert key.fingerprint != ExportKey(secret=bytes(32)).fingerprint
    assert key.secret.hex() not in repr(key) + key.fingerprint
    both = {key.pseudonym(Kind.RUNNER, 1), key.pseudonym(Kind.VISIT, 1)}
    assert len({one[1:] for one in both}) == 2  # a visit's number tells nothing of a runner's


@pytest.mark.parametrize("text", ["", "zz" * 32, "00" * 31, "00" * 33, "00 " * 32])
def test_what_is_no_key_is_refused_and_not_repeated(text: str) -> None:
    with pytest.raises(InputRefused, match="holds no key") as refused:
        key_of_text(text, file="a.key")
    assert not text or text not in str(refused.value)
    with pytest.raises(InputRefused, match="bytes"):
        ExportKey(secret=b"short")


@pytest.mark.parametrize("clinicians", [True, False])
@pytest.mark.parametrize("purpose", list(Purpose))
def test_every_column_is_described_and_no_text_is_free(purpose: Purpose, clinicians: bool) -> None:
    lists = Lists(
        bands=dict.fromkeys(QUASI_IDENTIFIERS, ("a", "withheld")),
        metrics=("cadence",),
        units=("deg",),
        exercises=("heel_raise",),
    )
    settings = replace(SETTINGS, purpose=purpose, clinicians=clinicians)
    package = export_package(settings, lists)
    assert purpose.value in package.title
    for table in package.tables:
        for field in table.fields:
            assert field.words.endswith(".")
            if field.type is FieldType.STRING:
                assert field.allowed or field.pattern
    assert ("clinician" in package.table("visits").names) == clinicians


def test_the_risk_is_said_in_words() -> None:
    told = "\n".join(risk_sentences(FACTS, SETTINGS))
    assert "28 of 30 runners" in told
    assert "at most 20.0 %, on average 12.5 %" in told
    assert "1 runner would have stood alone" in told
    assert "5 leave without any quasi-identifier and 2 do not leave" in told
    assert "6 because fewer than k look alike, 1 because" in told
    assert "All 2430 ways" in told
    assert "weighed: age 2 times, region of the complaint 3 times, side of the comp" in told
    assert "as asked" not in told
    kept = replace(FACTS, combinations=1, worked_out=1)
    assert "exactly as coarse as in the exports before" in "\n".join(risk_sentences(kept, SETTINGS))
    nobody = replace(FACTS, withheld=0, left_out=0)
    assert "only coarser, nobody withheld" in "\n".join(risk_sentences(nobody, SETTINGS))


def test_where_nobody_would_leave_it_says_why_and_nothing_of_a_risk() -> None:
    none = replace(FACTS, registered=3, consenting=0, exported=0)
    (why,) = risk_sentences(none, SETTINGS)
    assert "No runner's consent covers" in why
    assert "of 3 registered" in why
    few = replace(FACTS, consenting=1, exported=0)
    assert "1 runner consents to" in risk_page(few, SETTINGS)
    assert "probability" not in risk_page(few, SETTINGS)


def test_the_page_says_what_is_not_protected_and_how_each_leaves() -> None:
    page = risk_page(FACTS, SETTINGS)
    for words in (*NOT_PROTECTED, *NAMES.values(), "in bands of 10 years", "31.0 %"):
        assert words in page
    less = replace(FACTS, levels={Trait.SEX: (0, 2)}, loss_of={Trait.SEX: 0.0})
    page = risk_page(less, replace(SETTINGS, leave_out=(Trait.MASS, Trait.HEIGHT)))
    assert "(all weighed alike)" in page
    assert "Left out for everybody, as asked: height, mass." in page
    assert "| height | left out for everybody, as asked | |" in page
    assert set(NAMES) == set(QUASI_IDENTIFIERS) == set(WEIGHTS) == set(Trait)


def test_every_rung_of_every_ladder_is_told_by_its_bands() -> None:
    sizes = [151.0, 158.0, 163.0, 171.0, 176.0, 188.0]
    ladders = {
        Trait.SEX: sex_ladder(),
        Trait.AGE: age_ladder(),
        Trait.DISCIPLINE: discipline_ladder(),
        Trait.REGION: region_ladder(),
        Trait.SIDE: side_ladder(),
        Trait.HEIGHT: measured_ladder("h", sizes, step=HEIGHT_STEP_CM, k=1, unit="cm")[0],
        Trait.MASS: measured_ladder("m", sizes, step=MASS_STEP_KG, k=1, unit="kg")[0],
    }
    assert set(ladders) == set(Trait)
    for trait, made in ladders.items():
        told = [level_words(trait, level) for level in range(len(made.words))]
        assert len(set(told)) == len(told) == len(RUNGS[trait]) + 1
        assert told[-1] == "withheld for everybody"
    # Where the words name bands, they are those of the ladder.
    spoken = {trait: [level_words(trait, level) for level in range(5)] for trait in Trait}
    for trait, level in ((Trait.AGE, 2), (Trait.DISCIPLINE, 1), (Trait.REGION, 1)):
        bands = set(ladders[trait].words[level]) - {"no_injury", "not_recorded"}
        assert all(band.replace("_", " ") in spoken[trait][level] for band in bands)
    for level, years in ((0, 5), (1, 10)):
        assert f"bands of {years} years" in spoken[Trait.AGE][level]
        assert f"40_to_{39 + years}" in ladders[Trait.AGE].words[level]
    assert set(ladders[Trait.AGE].words[3]) == {"under_40", "40_and_over", "not_recorded"}
    assert spoken[Trait.HEIGHT][:2] == [
        f"in bands of {width} cm (the few at either end together)" for width in (5, 10)
    ]
