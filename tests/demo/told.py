"""The truth of the demo as stories, with the catalogue's form of each asymmetry."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import casebook
import seed_demo
from tests.demo.expected import Story

METRICS_FILE = Path(casebook.__file__).parent / "catalogue" / "starter_metrics.toml"


@cache
def catalogue() -> dict[str, dict[str, Any]]:
    """The starter catalogue as its file has it, by key."""
    with METRICS_FILE.open("rb") as stream:
        return {metric["key"]: metric for metric in tomllib.load(stream)["metric"]}


@cache
def truth_rows() -> tuple[dict[str, Any], ...]:
    """Rows of the truth."""
    return tuple(
        {str(name): value for name, value in row.items()}
        for row in seed_demo.truth().to_dict("records")
    )


def stories(course: str) -> list[tuple[dict[str, Any], Story]]:
    """Rows of one course that are about two sides, each with its story."""
    return [
        (row, story_of(row))
        for row in truth_rows()
        if row["course"] == course and row["before_none"] != row["before_none"]
    ]


def story_of(row: dict[str, Any]) -> Story:
    """The story of one row about two sides."""
    metric = catalogue()[row["metric"]]
    return Story(
        before=(row["before_left"], row["before_right"]),
        now=(row["now_left"], row["now_right"]),
        between_sd=row["between_sd"],
        within_sd=row["within_sd"],
        shared_sd=row["shared_sd"],
        trials=row["trials"],
        baselines=row["baseline_visits"],
        percent=metric.get("asymmetry_form") == "percent",
        higher_is_better={"higher": True, "lower": False}.get(metric["better"]),
    )
