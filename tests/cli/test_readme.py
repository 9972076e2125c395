"""README.md under test: what it names exists, and what exists it names."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer.main
from typer.core import TyperOption

from casebook.cli.commands import app
from casebook.intake.columns import TABLES, TableKind
from tests.cli.conftest import Casebook

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = typer.main.get_command(app).commands
ROW = re.compile(r"^\| `casebook (?P<name>[a-z-]+)` \|[^|]*\|(?P<options>[^|]*)\|$", re.MULTILINE)


def options_of(name: str) -> set[str]:
    return {
        spelling
        for parameter in COMMANDS[name].params
        if isinstance(parameter, TyperOption)
        for spelling in (*parameter.opts, *parameter.secondary_opts)
        if spelling.startswith("--")
    }


def table_of_commands() -> dict[str, set[str]]:
    return {
        row["name"]: set(re.findall(r"--[a-z-]+", row["options"])) for row in ROW.finditer(README)
    }


def examples() -> list[list[str]]:
    blocks = re.findall(r"^```\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    return [shlex.split(line)[1:] for line in lines if line.startswith("casebook ")]


def test_every_command_and_no_other_stands_in_the_table_of_commands():
    assert set(table_of_commands()) == set(COMMANDS)


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_option_and_no_other_stands_beside_its_command(name: str):
    apart = {"--help", "-h", "--serve"}  # what every command has, and what is so anyway
    assert table_of_commands()[name] == options_of(name) - apart


@pytest.mark.parametrize("words", examples(), ids=" ".join)
def test_every_example_is_understood(words: list[str]):
    command = COMMANDS[words[0]]
    context = command.make_context(words[0], list(words[1:]))
    assert context.command is command


def test_there_are_examples_for_the_main_job():
    assert {words[0] for words in examples()} >= {
        "demo",
        "serve",
        "init",
        "import",
        "flags",
        "check",
    }


def test_every_table_that_can_be_imported_is_named():
    named = set(re.findall(r"`([a-z_]+)`", README))
    tables = {kind.value for kind in TABLES} - {TableKind.VISITS, TableKind.VISITS_WIDE}
    assert tables <= named


def test_every_column_of_a_tidy_table_is_named():
    named = set(re.findall(r"`([a-z_]+)`", README))
    assert {column.name for column in TABLES[TableKind.VISITS].columns} <= named


def test_every_file_and_picture_that_is_linked_is_there():
    links = re.findall(r"\]\(([^)#]+)\)", README)
    assert len(links) >= 3
    assert [link for link in links if not (ROOT / link).is_file()] == []


def test_every_make_target_that_is_named_exists():
    named = set(
        re.findall(r"\bmake ([a-z]+)", README + (ROOT / "DEVELOPERS.md").read_text("utf-8"))
    )
    targets = set(re.findall(r"^([a-z]+):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE))
    assert named <= targets
    assert {"demo", "test", "bench", "screenshots", "constraints"} <= named


def test_the_example_tables_can_be_imported(casebook: Casebook, empty: Path, tmp_path: Path):
    blocks = re.findall(r"^```\n(runner,.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 2
    files = [tmp_path / f"{number}.csv" for number in range(len(blocks))]
    for file, block in zip(files, blocks, strict=True):
        file.write_text(block, encoding="utf-8")
    said = casebook("import", *files, "--db", empty, "--json")
    assert (said.code, said.err) == (0, "")
    assert said.report["new_runners"] == ["R-01"]
    assert [file["table"] for file in said.report["files"]] == ["visits", "visits_wide"]


def test_the_job_and_the_caution_come_before_the_commands():
    places = [
        README.index(words)
        for words in ("# casebook", "make demo", "never replaces it", "## Commands")
    ]
    assert places == sorted(places)
