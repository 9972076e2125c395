"""A wheel built from the tree runs elsewhere: app, migrations and demo travel in it."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

from tests.cli.test_calm import free_port, status

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
# An environment of one's own: nothing of this tree may be found by accident.
CLEAN = {
    name: value
    for name, value in os.environ.items()
    if not name.startswith(("PYTHON", "VIRTUAL_ENV", "CASEBOOK", "STREAMLIT"))
}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, ROOT],
        check=True, capture_output=True,
    )  # fmt: skip
    (built,) = folder.glob("casebook-*.whl")
    return built


@pytest.fixture(scope="module")
def program(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """`casebook` of an environment that holds the wheel, and borrows only the libraries."""
    home = tmp_path_factory.mktemp("elsewhere") / "venv"
    venv.create(home, with_pip=False, symlinks=True)
    python = home / "bin" / "python"
    subprocess.run(
        [
            *(sys.executable, "-m", "pip", "--python", python),
            *("install", "--no-deps", "--no-index", "--quiet", wheel),
        ],
        check=True, capture_output=True, env=CLEAN,
    )  # fmt: skip
    place = subprocess.run(
        [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        check=True, capture_output=True, text=True, env=CLEAN,
    ).stdout.strip()  # fmt: skip
    # Appended to the path behind the wheel. A .pth file within a borrowed folder is not read,
    # so the tree that is installed editable there cannot be seen.
    Path(place, "borrowed.pth").write_text(sysconfig.get_path("purelib"), "utf-8")
    return home / "bin" / "casebook"


def test_the_wheel_carries_app_migrations_and_demo(wheel: Path):
    names = zipfile.ZipFile(wheel).namelist()
    bundled = "casebook/bundled"
    wanted = {
        f"{bundled}/app/main.py",
        f"{bundled}/app/.streamlit/config.toml",
        f"{bundled}/migrations/env.py",
        f"{bundled}/seed_demo/runners.csv",
        "casebook/catalogue/starter_metrics.toml",
        "casebook/py.typed",
    }  # fmt: skip
    assert wanted <= set(names)
    assert [name for name in names if name.endswith((".pyc", ".sqlite"))] == []
    assert {name.split("/")[0] for name in names} == {"casebook", names[-1].split("/")[0]}


def test_the_wheel_builds_the_demo_and_serves_it_from_another_folder(program: Path, tmp_path: Path):
    environment = CLEAN | {"HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data")}

    def casebook(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [program, *words], cwd=tmp_path, env=environment,
            capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip

    where = subprocess.run(
        [program.with_name("python"), "-c", "import casebook; print(casebook.__file__)"],
        cwd=tmp_path, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert where.stdout.startswith(str(program.parents[1]))

    built = casebook("demo", "--no-serve")
    assert (built.returncode, built.stderr) == (0, "")
    database = tmp_path / "data" / "casebook" / "demo.sqlite"
    assert str(database) in built.stdout
    assert casebook("check", "--db", str(database)).returncode == 0

    port = free_port()
    process = subprocess.Popen(
        [program, "serve", "--db", str(database), "--port", str(port)],
        cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        assert f"http://127.0.0.1:{port}" in process.stdout.readline()
        assert status(port, "/_stcore/health") == 200
        assert status(port, "/") == 200
    finally:
        process.send_signal(signal.SIGTERM)
        _, err = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "Traceback" not in err
