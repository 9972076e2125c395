"""The list of exercises from files: what they say is taken, what they do not say stays."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from casebook.domain.errors import InputRefused
from casebook.domain.exercises import NO_SOURCE
from casebook.domain.history import Act, Subject
from casebook.domain.programmes import Aim
from casebook.services.exercising import (
    get_exercise,
    hide_exercise,
    import_exercises,
    list_exercises,
    save_exercise,
)
from casebook.services.keeping import check_casebook
from casebook.services.opened import Casebook
from casebook.storage import history
from casebook.storage.session import reading

BRIDGE = "bridge_single_leg"


def told(casebook: Casebook) -> list[tuple[Act, str, str, set[str]]]:
    with reading(casebook.engine) as unit:
        return [
            (entry.act, entry.by, entry.reason, set(entry.fields))
            for entry in history.every_entry(unit)
            if entry.subject is Subject.EXERCISE
        ]


def test_a_table_adds_and_changes_exercises_and_leaves_what_it_does_not_speak_of(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    before = get_exercise(sqlite_clinic, BRIDGE)
    n_told = len(told(sqlite_clinic))
    table = tmp_path / "ours.csv"
    table.write_text(
        "Key;name;aim;how;sided;sets;hold_s;dose_source;metrics;active\n"
        f"{BRIDGE};;;;;4;2,5;;;no\n"
        f"wall_sit;Wall sit;strength;Sit.;no;2;30;{NO_SOURCE};cadence; \n",
        encoding="utf-8",
    )
    assert import_exercises(sqlite_clinic, table, by="kim") == 2
    assert get_exercise(sqlite_clinic, BRIDGE) == replace(before, sets=4, hold_s=2.5, active=False)
    mine = get_exercise(sqlite_clinic, "wall_sit")
    assert (mine.aim, mine.sided, mine.metrics, mine.starter) == (
        Aim.STRENGTH, False, ("cadence",), False,
    )  # fmt: skip
    assert import_exercises(sqlite_clinic, table, by="kim") == 0
    changed, added = told(sqlite_clinic)[n_told:]
    assert changed == (Act.AMENDED, "kim", "from ours.csv", {"sets", "hold_s", "active"})
    assert added[:2] == (Act.RECORDED, "kim")
    assert check_casebook(sqlite_clinic).ok


def test_every_wrong_cell_of_a_table_is_told_and_none_of_it_is_taken(
    sqlite_clinic: Casebook, tmp_path: Path
) -> None:
    before = list_exercises(sqlite_clinic, include_hidden=True)
    table = tmp_path / "ours.csv"
    table.write_text(
        f"key,name,aim,how,sets,dose\n{BRIDGE},,strenght,,0,\n,No key,load,Go.,,\n"
        "wall_sit,Wall sit,load,Sit.,,3 a day\n",
        encoding="utf-8",
    )
    with pytest.raises(InputRefused) as refused:
        import_exercises(sqlite_clinic, table, by="kim")
    said = str(refused.value)
    assert "ours.csv, row 2, column aim: aim is 'strenght'" in said
    assert "Did you mean strength?" in said
    assert "row 2, column sets" in said
    assert "ours.csv, row 3, column key: the key is not given" in said
    table.write_text("key,dose,kind\nwall_sit,3 a day,x\n", encoding="utf-8")
    with pytest.raises(InputRefused, match="the column 'kind' is not known"):
        import_exercises(sqlite_clinic, table, by="kim")
    table.write_text("name\nWall sit\n", encoding="utf-8")
    with pytest.raises(InputRefused, match="the column 'key' is missing"):
        import_exercises(sqlite_clinic, table, by="kim")
    table.write_text("key,dose\nwall_sit,3 a day\n", encoding="utf-8")
    with pytest.raises(InputRefused, match=r"row 2, column how: .* must be given"):
        import_exercises(sqlite_clinic, table, by="kim")
    table.write_text(f"key,dose,metrics\n{BRIDGE},,cadense\n", encoding="utf-8")
    with pytest.raises(InputRefused, match=r"row 2, column metrics: .* no metric 'cadense'"):
        import_exercises(sqlite_clinic, table, by="kim")
    assert list_exercises(sqlite_clinic, include_hidden=True) == before


def test_a_new_exercise_stands_behind_the_others_and_the_history_tells_why_one_is_hidden(
    sqlite_clinic: Casebook,
) -> None:
    first = list_exercises(sqlite_clinic)[0]
    mine = replace(first, key="our_own", name="Our own", position=0)
    save_exercise(sqlite_clinic, mine, read=None, by="kim")
    assert list_exercises(sqlite_clinic)[-1].key == "our_own"
    hide_exercise(sqlite_clinic, "our_own", by="kim")
    hide_exercise(sqlite_clinic, "our_own", hidden=False, by="lee")
    assert [entry[1:] for entry in told(sqlite_clinic)[-2:]] == [
        ("kim", "no longer offered for programmes", {"active"}),
        ("lee", "offered for programmes again", {"active"}),
    ]
