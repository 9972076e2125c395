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


def _section(function: FunctionType, name: str) -> str:
    text = inspect.getdoc(function) or ""
    found = re.search(rf"^{name}\n-+\n(.*?)(?=^\w[\w ]*\n-+\n|\Z)", text, re.M | re.S)
    return found.group(1).strip() if found else ""


@pytest.mark.parametrize("function", _functions(), ids=lambda function: function.__qualname__)
@pytest.mark.parametrize("section", ["Parameters", "Returns", "References", "Examples"])
def test_every_public_function_has_the_section(function: FunctionType, section: str) -> None:
    assert _section(function, section)


@pytest.mark.parametrize("function", _functions(), ids=lambda function: function.__qualname__)
def test_every_parameter_is_described(function: FunctionType) -> None:
    described = _section(function, "Parameters")
    for name in inspect.signature(function).parameters:
        assert re.search(rf"\b{name}\b", described), name


@pytest.mark.parametrize("function", _functions(), ids=lambda function: function.__qualname__)
def test_what_is_raised_is_told(function: FunctionType) -> None:
    raised = set(re.findall(r"raise (\w+)\(", inspect.getsource(function)))
    assert all(name in _section(function, "Raises") for name in raised)


def test_every_citation_resolves_and_every_source_is_cited() -> None:
    cited = {
        key
        for function in _functions()
        for key in CITATION.findall(_section(function, "References"))
    }
    assert cited == set(SOURCES)


@pytest.mark.parametrize("key", SOURCES)
def test_every_source_says_what_it_is_and_how_it_was_known(key: str) -> None:
    assert set(SOURCES[key]) == {"citation", "known"}
    assert all(SOURCES[key].values())
