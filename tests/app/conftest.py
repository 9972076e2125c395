"""A small clinic of the tests' own, and the app opened on it as a session would."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit import config
from streamlit.components.v2.component_manager import BidiComponentManager
from streamlit.runtime.scriptrunner.script_cache import ScriptCache
from streamlit.testing.v1 import AppTest, app_test, local_script_runner
from streamlit.testing.v1.local_script_runner import LocalScriptRunner

from casebook.domain.injuries import Injury, Pathology, Region
from casebook.domain.metrics import AppliesTo, ErrorFigure, ErrorOrigin
from casebook.domain.people import Runner, Sex, User
from casebook.domain.sides import InjurySide, Side
from casebook.domain.visits import Conditions, Visit, VisitKind, value_of_trials
from casebook.services.cataloguing import adopt_figure
from casebook.services.keeping import Casebook, open_casebook
from casebook.services.recording import record_visit
from casebook.services.registering import record_injury, register_runner, register_user

MAIN = Path(__file__).parents[2] / "app" / "main.py"
STRENGTH = "hip_abductor_strength"
DROP = "contralateral_pelvic_drop"
WORSE = "R-worse"
STEADY = "R-steady"
NEW = "R-new"

CONDITIONS = Conditions(
    speed_km_h=11.0,
    surface="treadmill",
    incline_pct=0.0,
    footwear="own shoes",
    view="posterior",
    frames_per_s=120.0,
    assessor="AB",
    pain_today=2.0,
)


def trials(middle: float, step: float, n: int = 5) -> list[float]:
    """Trials around a mean that is exactly `middle`."""
    return [middle + step * (k - (n - 1) / 2) for k in range(n)]


def visit_of(runner: str, day: date, kind: VisitKind, right: float, drop_right: float) -> Visit:
    """A visit whose left side never changes."""
    return Visit(
        runner=runner,
        visited_on=day,
        kind=kind,
        conditions=CONDITIONS,
        next_due_on=date(day.year, day.month + 1, day.day),
        values=(
            value_of_trials(STRENGTH, Side.LEFT, trials(300.0, 2.0)),
            value_of_trials(STRENGTH, Side.RIGHT, trials(right, 2.0)),
            value_of_trials(DROP, Side.LEFT, trials(4.0, 0.2, 7)),
            value_of_trials(DROP, Side.RIGHT, trials(drop_right, 0.2, 7)),
            value_of_trials("cadence", Side.NONE, trials(172.0, 1.0, 3)),
        ),
    )


def furnish(casebook: Casebook) -> None:
    """One user, a runner whose right side falls away, one who is steady, and a new one."""
    register_user(casebook, User(code="AB", display_name="Anna Brandt"))
    for code in (WORSE, STEADY, NEW):
        register_runner(
            casebook,
            Runner(code=code, sex=Sex.FEMALE, birth_year=1990, discipline="half marathon"),
        )
    record_injury(
        casebook,
        Injury(
            runner=WORSE,
            region=Region.KNEE,
            pathology=Pathology.NON_SPECIFIC,
            side=InjurySide.RIGHT,
            onset_on=date(2026, 1, 20),
        ),
    )
    adopt_figure(
        casebook,
        ErrorFigure(
            metric=STRENGTH,
            applies_to=AppliesTo.SIDE_VALUE,
            origin=ErrorOrigin.OWN,
            between_sd=4.0,
            within_sd=6.0,
            source="own repeat measurements of the tests' clinic",
        ),
    )
    for code, right in ((WORSE, (290.0, 292.0, 220.0)), (STEADY, (290.0, 292.0, 291.0))):
        days = (date(2026, 1, 12), date(2026, 2, 9), date(2026, 3, 9))
        kinds = (VisitKind.BASELINE, VisitKind.REVIEW, VisitKind.REVIEW)
        for day, kind, strength in zip(days, kinds, right, strict=True):
            record_visit(casebook, visit_of(code, day, kind, strength, 4.2), by="AB")


@pytest.fixture(scope="session")
def furnished_file(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("furnished") / "casebook.sqlite"
    shutil.copyfile(sqlite_template, path)
    casebook = open_casebook(str(path))
    furnish(casebook)
    casebook.close()
    return path


@pytest.fixture
def clinic_file(furnished_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The clinic's own file for one test, which the app opens."""
    path = tmp_path / "clinic.sqlite"
    shutil.copyfile(furnished_file, path)
    monkeypatch.setenv("CASEBOOK_DATABASE_URL", str(path))
    return path


@pytest.fixture
def clinic(clinic_file: Path) -> Iterator[Casebook]:
    casebook = open_casebook(str(clinic_file))
    yield casebook
    casebook.close()


@pytest.fixture(autouse=True)
def no_caches() -> Iterator[None]:
    """Streamlit's caches outlive an AppTest."""
    yield
    st.cache_data.clear()
    st.cache_resource.clear()


@pytest.fixture(scope="session")
def components() -> BidiComponentManager:
    """Streamlit's components, looked for once as a server does, not for every AppTest."""
    manager = BidiComponentManager()
    manager.discover_and_register_components(start_file_watching=False)
    return manager


@pytest.fixture(scope="session", autouse=True)
def run_as_served() -> Iterator[None]:
    """What a server does and AppTest leaves undone, each of which costs time in every run.

    One store of compiled pages for all sessions, not one a run; no statistics of use, as in
    `app/.streamlit/config.toml`; and waiting for the end of a run, not looking for it a thousand
    times a second beside the run itself.
    """
    compiled = ScriptCache()
    config.set_option("browser.gatherUsageStats", False)
    with pytest.MonkeyPatch.context() as patch:
        for module in (app_test, local_script_runner):
            patch.setattr(module, "ScriptCache", lambda: compiled)
        look = local_script_runner.require_widgets_deltas
        patch.setattr(
            local_script_runner,
            "require_widgets_deltas",
            lambda runner, timeout: (_wait_for(runner, timeout), look(runner, timeout)),
        )
        yield


def _wait_for(runner: LocalScriptRunner, timeout: float) -> None:
    thread = runner._script_thread
    if thread is not None:
        thread.join(timeout)


@pytest.fixture
def app(components: BidiComponentManager) -> AppTest:
    app = AppTest.from_file(MAIN, default_timeout=30)
    app._bidi_component_manager = components
    return app


def links(app: AppTest) -> list[str]:
    """Words of the links on the page, in order."""
    return [str(link.proto.label).strip("*").replace("\\", "") for link in app.get("page_link")]


def at_page(app: AppTest, name: str, **query: str) -> AppTest:
    """The app with a page opened, as by its address."""
    # An AppTest knows a page's address only once a page was drawn; each is told what the first
    # one found, so that it need not draw the caseload before every other page.
    app._registered_pages = app._registered_pages or _pages()
    app.query_params.update(query)
    return app.switch_page(f"screens/{name}.py").run()


@cache
def _pages() -> dict[str, Any]:
    """The app's pages by their hash, as a first run registers them."""
    first = AppTest.from_file(MAIN, default_timeout=30).run()
    return dict(first._registered_pages)


def words(app: AppTest) -> str:
    """Everything that the page says in text."""
    kinds = (
        app.title,
        app.subheader,
        app.markdown,
        app.caption,
        app.info,
        app.success,
        app.warning,
        app.error,
    )
    said = "\n".join(str(element.value) for kind in kinds for element in kind)
    return said.replace("\\", "")
