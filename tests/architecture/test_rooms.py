"""The house rules that no linter knows; `lint-imports` holds the arrows between the rooms."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP_LEVEL = {
    ".ci", ".gitignore", "DEVELOPERS.md", "Makefile", "README.md", "app", "casebook",
    "constraints.txt", "migrations", "pyproject.toml", "seed_demo", "tests",
}  # fmt: skip
DRAWERS = {"utils", "util", "helpers", "helper", "common", "manager", "managers", "misc"}
LONGEST_FILE = 600


def tracked() -> list[Path]:
    """Every file that is kept, or that is about to be."""
    listing = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, check=True, capture_output=True,
    )  # fmt: skip
    names = [name for name in listing.stdout.decode().split("\0") if name]
    return [ROOT / name for name in names if (ROOT / name).is_file()]


def texts() -> Iterator[tuple[Path, str]]:
    for path in tracked():
        try:
            yield path.relative_to(ROOT), path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue


def sources(*rooms: str) -> Iterator[tuple[Path, frozenset[str]]]:
    """Every source of some rooms, with the modules that it imports."""
    for path in tracked():
        name = path.relative_to(ROOT)
        if path.suffix == ".py" and name.parts[0] in rooms:
            yield name, imported(path)


@cache
def imported(path: Path) -> frozenset[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module)
    return frozenset(names)


def lines_with(pattern: str, *, but_not: tuple[str, ...] = ()) -> list[str]:
    wanted = re.compile(pattern, re.IGNORECASE)
    this = Path(__file__).relative_to(ROOT)
    return [
        f"{name}:{number}: {line.strip()[:100]}"
        for name, text in texts()
        if name != this and name.suffix not in but_not
        for number, line in enumerate(text.splitlines(), start=1)
        if wanted.search(line)
    ]


def test_the_top_level_holds_only_what_a_stranger_expects():
    found = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert found == TOP_LEVEL


def test_no_file_names_a_registry_host():
    hosts = r"p[y]pi\.org|python[h]osted\.org|registry\.npm[j]s|deb\.debia[n]|conda\.(io|org)"
    assert lines_with(hosts) == []


def test_no_file_names_a_place_on_one_machine():
    places = r"(?<![\w.])/(w[o]rk/|home/\w|Users/\w|f[a]rm/|root/\w)|[A-Z]:\\\\Users|\.\./shared"
    assert lines_with(places, but_not=(".svg",)) == []


def test_pins_are_names_and_versions_without_addresses():
    pins = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    strange = [pin for pin in pins if not re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", pin)]
    assert strange == []
    assert len(pins) > 50


def test_the_domain_imports_the_standard_library_only():
    strange = {
        f"{name}: {module}"
        for name, modules in sources("casebook")
        if name.parts[1] == "domain"
        for module in modules
        if module.split(".")[0] not in sys.stdlib_module_names
        and not module.startswith("casebook.domain")
    }
    assert strange == set()


@pytest.mark.parametrize("module", ["streamlit", "sqlalchemy"])
def test_a_library_with_one_home_is_imported_at_home_only(module: str):
    homes = {
        "streamlit": lambda name: name.parts[0] == "app",
        "sqlalchemy": lambda name: (
            name.parts[0] == "migrations"
            or name.parts[:2] in {("casebook", "storage"), ("casebook", "services")}
        ),
    }
    strays = [
        str(name)
        for name, modules in sources("app", "casebook", "seed_demo", "migrations")
        if any(found.split(".")[0] == module for found in modules) and not homes[module](name)
    ]
    assert strays == []


def test_faces_and_services_keep_their_doors():
    """Storage is opened by services alone, app and command line do not know one another."""
    strays = []
    for name, modules in sources("app", "casebook", "seed_demo"):
        room = name.parts[0] if name.parts[0] != "casebook" else ".".join(name.parts[:2])
        for module in modules:
            if module.startswith("casebook.storage") and room not in {
                "casebook.storage", "casebook.services",
            }:  # fmt: skip
                strays.append(f"{name} imports {module}")
            if module.split(".")[0] == "app" and room != "app":
                strays.append(f"{name} imports {module}")
    assert strays == []


def test_no_room_is_a_drawer_for_leftovers():
    named = {str(path.relative_to(ROOT)) for path in tracked() if path.stem.lower() in DRAWERS}
    assert named == set()


def test_no_source_file_is_too_long_to_be_read_in_one_go():
    long = {
        str(path.relative_to(ROOT)): length
        for path in tracked()
        if path.suffix == ".py" and path.relative_to(ROOT).parts[0] not in {"migrations", "tests"}
        if (length := len(path.read_text(encoding="utf-8").splitlines())) > LONGEST_FILE
    }
    assert long == {}


def test_nothing_is_left_unfinished_or_skipped():
    marks = r"\bTO[D]O\b|\bFIX[M]E\b|NotImplemented[E]rror|pytest\.sk[i]p|mark\.(sk[i]p|xfai[l])"
    assert lines_with(marks) == []


def test_the_wheel_asks_only_for_what_is_imported_somewhere():
    """Every dependency is used, so that none is carried for nothing."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {re.match(r"[a-z0-9-]+", entry)[0] for entry in project["dependencies"]}
    used = {
        module.split(".")[0]
        for _, modules in sources("casebook", "app", "seed_demo", "migrations")
        for module in modules
    }
    # pint is what ucumvert speaks; pillow is imported by the name of PIL.
    assert "PIL" in used
    assert named - {name.replace("_", "-") for name in used} == {"pint", "pillow"}
