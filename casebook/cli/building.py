"""Building the demo casebook: from the demo files, through the product's own import."""

from __future__ import annotations

import csv
from pathlib import Path
from tempfile import TemporaryDirectory

from platformdirs import user_data_path

from casebook.cli.building_hypotheses import NAME, read_hypotheses
from casebook.cli.progress import import_with_progress
from casebook.domain.errors import InputRefused, StoreUnavailable, refuse
from casebook.places import folder as bundled
from casebook.services.hypotheses_in import take_over_hypotheses
from casebook.services.keeping import Casebook, check_casebook, create_casebook, open_casebook
from casebook.services.registering import list_runners

DEMO_CLINIC = "Demo clinic (invented)"
SQLITE = "sqlite:///"


def demo_file(*, folder: Path | None = None, db: str | None = None) -> Path:
    """Where the demo database belongs.

    Raises
    ------
    InputRefused
        When `db` is the address of another kind of database.
    """
    if db is None:
        home = folder if folder is not None else user_data_path("casebook", appauthor=False)
        return home.expanduser().resolve() / "demo.sqlite"
    path = db.removeprefix(SQLITE)
    if "://" in path:
        raise refuse(
            "demo_needs_a_file",
            "The demo lives in an SQLite file: give --db a file name. (To have invented "
            "runners in another database, use 'casebook init' and 'casebook import' there.)",
            column="--db",
        )
    return Path(path).expanduser().resolve()


def build_demo(path: Path, *, fresh: bool = False) -> bool:
    """Build the demo casebook unless it stands already.

    It is built beside its place and moved there when it is whole, so that a build that
    was cut short leaves nothing that could be taken for it.

    Parameters
    ----------
    path : Path
        The SQLite file.
    fresh : bool
        Replace a demo casebook that is there. Any other file is left alone.

    Returns
    -------
    bool
        True when it was built, False when it was found.

    Raises
    ------
    CasebookError
        When a file of another kind stands there, or the folder cannot be written.
    """
    if path.exists():
        _check_demo(path)
        if not fresh:
            return False
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=path.parent, prefix="demo-being-built-") as place:
            part = Path(place) / path.name
            _fill(create_casebook(str(part), clinic_name=DEMO_CLINIC))
            for journal in ("-wal", "-shm"):
                path.with_name(path.name + journal).unlink(missing_ok=True)
            part.replace(path)
    except OSError as problem:
        raise StoreUnavailable(
            f"The demo database cannot be written to {path.parent}: {problem.strerror or problem}. "
            "Make room there, or name another folder with --folder."
        ) from problem
    return True


def _fill(casebook: Casebook) -> None:
    try:
        report = import_with_progress(casebook, demo_tables())
        if report.problems:
            raise InputRefused(tuple(report.problems))
        take_over_hypotheses(casebook, read_hypotheses(bundled("seed_demo") / NAME))
    finally:
        # Closing the last connection writes SQLite's journal back into the one file.
        casebook.close()


def demo_tables() -> list[Path]:
    """The demo clinic's CSV files, as they travel with the program."""
    tables = bundled("seed_demo").glob("*.csv")
    # What is really so, marks to try, and hypotheses stand beside them; none is imported.
    return sorted(
        path
        for path in tables
        if path.name != NAME and path.stem.partition("_")[0] not in {"truth", "marks"}
    )


def _demo_codes() -> set[str]:
    (table,) = [path for path in demo_tables() if path.stem == "runners"]
    with table.open(encoding="utf-8-sig", newline="") as lines:
        return {row["runner"] for row in csv.DictReader(lines)}


def _check_demo(path: Path) -> None:
    """Refuse a file that is no demo casebook, so that a real one is never taken for it."""
    mend = "Move it away, or keep the demo elsewhere with --folder."
    casebook = open_casebook(str(path))
    try:
        report = check_casebook(casebook)
        codes = {runner.code for runner in list_runners(casebook)}
    finally:
        casebook.close()
    if not report.ok:
        raise StoreUnavailable(f"The demo database {path} is damaged. {mend}")
    if not codes >= _demo_codes():
        raise StoreUnavailable(f"{path} is a casebook, but not the demo's. {mend}")
