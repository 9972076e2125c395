"""A clinic's own catalogue file: taken whole, or refused with everything that is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook.catalogue.loader import load_figures_file, load_metrics_file, starter_metrics
from casebook.domain.errors import InputRefused, Problem
from casebook.domain.metrics import AsymmetryForm, Better, Condition, ErrorOrigin, FloorKind

METRIC = {
    "key": '"reach_forward"',
    "label": '"Reach forward"',
    "group": '"table"',
    "unit": '"cm"',
    "scale": '"ratio"',
    "sided": "true",
    "sign_convention": '"Always positive."',
    "better": '"higher"',
    "plausible_low": "20",
    "plausible_high": "120",
    "resolution": "0.5",
}
FIGURE = {
    "metric": '"lunge_distance"',
    "applies_to": '"side_value"',
    "origin": '"own"',
    "between_sd": "0.4",
    "within_sd": "0.3",
    "source": '"own repeat visits, 2024"',
}


def entry(table: str, fields: dict[str, str]) -> str:
    return f"[[{table}]]\n" + "".join(f"{name} = {text}\n" for name, text in fields.items())


def a_metric(**changed: str) -> str:
    return entry("metric", METRIC | changed)


def a_figure(**changed: str) -> str:
    return entry("figure", FIGURE | changed)


def written(folder: Path, text: str | bytes) -> Path:
    path = folder / "ours.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def problems_of_metrics(folder: Path, text: str | bytes) -> tuple[Problem, ...]:
    with pytest.raises(InputRefused) as caught:
        load_metrics_file(written(folder, text))
    return caught.value.problems


def problems_of_figures(folder: Path, text: str) -> tuple[Problem, ...]:
    with pytest.raises(InputRefused) as caught:
        load_figures_file(written(folder, text), starter_metrics())
    return caught.value.problems


def test_a_clinics_own_metric_is_read_with_sensible_defaults(tmp_path: Path) -> None:
    text = a_metric(sensitive_to='["assessor", "pain"]', asymmetry_form='"percent"')
    (metric,) = load_metrics_file(written(tmp_path, text))
    assert metric.key == "reach_forward"
    assert metric.better is Better.HIGHER
    assert metric.plausible_low == 20.0
    assert metric.asymmetry_form is AsymmetryForm.PERCENT
    assert metric.sensitive_to == (Condition.ASSESSOR, Condition.PAIN)
    assert metric.floor_kind is FloorKind.READING
    assert not metric.starter
    assert metric.position > max(one.position for one in starter_metrics())


def test_the_mark_that_some_editors_write_first_is_passed_over(tmp_path: Path) -> None:
    assert len(load_metrics_file(written(tmp_path, b"\xef\xbb\xbf" + a_metric().encode()))) == 1


@pytest.mark.parametrize(
    ("field", "text", "code", "says"),
    [
        ("colour", '"red"', "field_unknown", "expected one of key, label"),
        ("better", '"up"', "field_unfit", "one of higher, lower, range, none"),
        ("group", '"front"', "field_unfit", "one of posterior_view, side_view"),
        ("sided", '"yes"', "field_unfit", "true or false"),
        ("resolution", '"0,5"', "field_unfit", "a number"),
        ("resolution", "nan", "field_unfit", "a number"),
        ("resolution", "true", "field_unfit", "a number"),
        ("usual_trials", "2.5", "field_unfit", "a whole number"),
        ("label", "3", "field_unfit", "a text in quotes"),
        ("sensitive_to", '"speed"', "field_unfit", "a list in square brackets"),
        ("sensitive_to", '["speed", "moon"]', "field_unfit", "each entry one of speed"),
        ("unit", '"degrees"', "unit_not_ucum", "write 'deg'"),
        ("resolution", "-1", "metric_resolution", "zero or more"),
        ("important_change", "0.0", "metric_important_change", "above zero"),
        ("key", '"Reach!"', "metric_key", "small letters"),
    ],
)
def test_a_wrong_field_is_refused_by_file_row_field_value_and_what_is_allowed(
    tmp_path: Path, field: str, text: str, code: str, says: str
) -> None:
    (problem,) = problems_of_metrics(tmp_path, "# ours\n\n" + a_metric(**{field: text}))
    assert problem.code == code
    assert (problem.file, problem.row, problem.column) == ("ours.toml", 3, field)
    assert "metric '" in problem.message
    assert says in problem.message
    assert problem.value in problem.message


@pytest.mark.parametrize("field", METRIC)
def test_a_missing_field_is_named(tmp_path: Path, field: str) -> None:
    left = {name: text for name, text in METRIC.items() if name != field}
    (problem,) = problems_of_metrics(tmp_path, entry("metric", left))
    assert (problem.code, problem.column) == ("field_missing", field)


def test_every_problem_of_a_file_is_reported_at_once(tmp_path: Path) -> None:
    text = a_metric(better='"up"', scale='"big"') + a_metric(key='"other"', unit='"furlong"')
    found = [(p.row, p.column) for p in problems_of_metrics(tmp_path, text)]
    assert found == [(1, "scale"), (1, "better"), (13, "unit")]


def test_a_key_that_stands_twice_is_refused_with_both_rows(tmp_path: Path) -> None:
    (problem,) = problems_of_metrics(tmp_path, a_metric() + a_metric())
    assert (problem.code, problem.row) == ("key_twice", 13)
    assert "first in row 1" in problem.message


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "file_of_another_kind"),
        ("runner,visit_date\nA,2024-01-01\n", "file_not_toml"),
        ("metric = 3\n", "file_of_another_kind"),
        ("metric = [3]\n", "file_of_another_kind"),
        (a_figure(), "file_of_another_kind"),
        (b"\xff\xfe\x00", "file_unreadable"),
    ],
)
def test_a_file_of_another_kind_is_refused(tmp_path: Path, text: str | bytes, code: str) -> None:
    (problem,) = problems_of_metrics(tmp_path, text)
    assert (problem.code, problem.file) == (code, "ours.toml")


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="can't be read"):
        load_metrics_file(tmp_path / "gone.toml")


def test_entries_written_in_one_line_are_read_though_their_row_is_not_known(
    tmp_path: Path,
) -> None:
    inline = "metric = [{" + ", ".join(f"{n} = {t}" for n, t in METRIC.items()) + "}]\n"
    assert load_metrics_file(written(tmp_path, inline))[0].key == "reach_forward"
    (problem,) = problems_of_metrics(tmp_path, inline.replace('"higher"', '"up"'))
    assert problem.row is None


def test_a_clinics_own_error_figure_is_read(tmp_path: Path) -> None:
    (figure,) = load_figures_file(written(tmp_path, a_figure()), starter_metrics())
    assert figure.origin is ErrorOrigin.OWN
    assert (figure.between_sd, figure.within_sd) == (0.4, 0.3)


def test_a_figure_from_one_session_alone_is_a_lower_bound(tmp_path: Path) -> None:
    left = {name: text for name, text in FIGURE.items() if name != "between_sd"}
    text = entry("figure", left | {"origin": '"within_session"'})
    (figure,) = load_figures_file(written(tmp_path, text), starter_metrics())
    assert figure.origin is ErrorOrigin.WITHIN_SESSION
    assert figure.between_sd is None
    (problem,) = problems_of_figures(tmp_path, entry("figure", left))
    assert "lower bound" in problem.message


@pytest.mark.parametrize(
    ("field", "text", "code"),
    [
        ("metric", '"no_such_metric"', "unknown_metric"),
        ("source", '" "', "error_figure"),
        ("within_sd", "-0.3", "error_figure"),
        ("sem", "0.5", "error_figure"),
        ("origin", '"none"', "error_figure"),
        ("origin", '"hearsay"', "field_unfit"),
        ("adopted_at", "2024-01-01T00:00:00Z", "field_unknown"),
    ],
)
def test_a_figure_that_can_not_be_used_is_refused(
    tmp_path: Path, field: str, text: str, code: str
) -> None:
    (problem,) = problems_of_figures(tmp_path, a_figure(**{field: text}))
    assert (problem.code, problem.file, problem.row) == (code, "ours.toml", 1)


def test_a_figure_of_the_asymmetry_needs_a_metric_that_has_one(tmp_path: Path) -> None:
    text = a_figure(metric='"cadence"', applies_to='"asymmetry"')
    (problem,) = problems_of_figures(tmp_path, text)
    assert problem.code == "error_figure_asymmetry"


def test_two_figures_of_one_origin_for_one_thing_are_refused(tmp_path: Path) -> None:
    (problem,) = problems_of_figures(tmp_path, a_figure() + a_figure())
    assert (problem.code, problem.row) == ("figure_twice", 8)
