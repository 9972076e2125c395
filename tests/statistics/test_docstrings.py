"""Docstrings of the statistics say what goes in, what comes out, and after whom."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

import casebook.statistics

ROOM = Path(casebook.statistics.__file__).parent
CITATION = re.compile(r"\[([A-Z][A-Za-z]+(?:\d{4})?)\]")
SOURCES = tomllib.loads((ROOM / "sources.toml").read_text(encoding="utf-8"))


def _modules() -> Iterator[ModuleType]:
    for found in pkgutil.walk_packages([str(ROOM)], "casebook.statistics."):
        yield importlib.import_module(found.name)


def _functions() -> list[FunctionType]:
    return [
        function
        for module in _modules()
        for name, function in vars(module).items()
        if inspect.isfunction(function)
        and function.__module__ == module.__name__
        and not name.startswith("_")
    ]


def _name(function: FunctionType) -> str:
    return f"{function.__module__}.{function.__qualname__}"


def _section(function: FunctionType, name: str) -> str:
    text = inspect.getdoc(function) or ""
    found = re.search(rf"^{name}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, re.M | re.S)
    return found.group(1).strip() if found else ""


# All functions in one test a claim, each that breaks it by name: one test a function and claim
# would be a fifth of all tests there are.
@pytest.mark.parametrize("section", ["Parameters", "Returns", "References", "Examples"])
def test_every_public_function_has_the_section(section: str) -> None:
    functions = _functions()
    assert len(functions) > 200
    assert [_name(function) for function in functions if not _section(function, section)] == []


def test_every_parameter_is_described() -> None:
    undescribed = [
        (_name(function), parameter)
        for function in _functions()
        for parameter in inspect.signature(function).parameters
        if not re.search(rf"\b{parameter}\b", _section(function, "Parameters"))
    ]
    assert undescribed == []


def test_what_is_raised_is_told() -> None:
    untold = [
        (_name(function), raised)
        for function in _functions()
        for raised in re.findall(r"raise (\w+)\(", inspect.getsource(function))
        if raised not in _section(function, "Raises")
    ]
    assert untold == []


def test_every_citation_resolves_and_every_source_is_cited() -> None:
    cited = {
        key
        for function in _functions()
        for key in CITATION.findall(_section(function, "References"))
    }
    assert cited == set(SOURCES)


def test_every_source_says_what_it_is_and_how_it_was_known() -> None:
    for key, source in SOURCES.items():
        assert set(source) == {"citation", "known"}, key
        assert all(source.values()), key
