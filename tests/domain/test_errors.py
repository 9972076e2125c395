from __future__ import annotations

import pytest

from casebook.domain.errors import CasebookError, InputRefused, Problem, refuse


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ({}, "no such metric"),
        ({"file": "may.csv"}, "may.csv: no such metric"),
        ({"row": 3}, "row 3: no such metric"),
        ({"column": "metric"}, "metric: no such metric"),
        (
            {"file": "may.csv", "row": 3, "column": "metric"},
            "may.csv, row 3, column metric: no such metric",
        ),
    ],
)
def test_a_problem_says_where_it_stands(place: dict[str, object], text: str) -> None:
    assert str(Problem(code="unknown_metric", message="no such metric", **place)) == text


def test_a_refusal_tells_every_problem_on_a_line_of_its_own() -> None:
    refused = InputRefused(
        (Problem(code="a", message="first"), Problem(code="b", message="second", row=2))
    )
    assert str(refused) == "first\nrow 2: second"
    assert isinstance(refused, CasebookError)


def test_refusing_one_thing_keeps_the_value_as_it_was_given() -> None:
    (problem,) = refuse("too_large", "It is too large.", column="value", value=1e9).problems
    assert (problem.code, problem.column, problem.value) == ("too_large", "value", "1000000000.0")
