"""Proposed mappings: seldom silent, often right, never sure and wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from casebook.catalogue.loader import starter_metrics
from casebook.domain.metrics import Metric
from casebook.intake.grids import read_text_grid
from casebook.intake.mapping import READING, UNDECIDED
from casebook.intake.proposing import propose
from tests.intake.headers import ASK, HEADERS, Header


@pytest.fixture(scope="module")
def metrics() -> dict[str, Metric]:
    return {metric.key: metric for metric in starter_metrics()}


def proposed(header: Header, tmp_path: Path, metrics: dict[str, Metric]) -> tuple[str, str, int]:
    """What a sheet with this column alone is proposed to hold."""
    path = tmp_path / "one.csv"
    cells = [cell.replace(",", ".") for cell in header.texts]
    path.write_text("\n".join([f'"{header.name}";', *(f"{cell};" for cell in cells)]))
    (found,) = (c for c in propose(read_text_grid(path), metrics.values()).columns)
    use = found.use
    assert found.sure == (use.holds != UNDECIDED)
    assert found.why
    if use.holds == UNDECIDED:
        return ASK, "", 0
    if use.holds == READING:
        return use.metric, use.side.replace("none", ""), use.trial
    return use.holds, "", 0


def test_no_header_is_taken_wrongly_without_a_question_and_most_that_can_be_are_right(
    metrics: dict[str, Metric], tmp_path: Path
) -> None:
    assert len(HEADERS) >= 100
    wrong, right, asked, needless = [], [], [], []
    for header in HEADERS:
        answer = proposed(header, tmp_path, metrics)
        if answer == (header.holds, header.side, header.trial):
            (asked if header.holds == ASK else right).append(header.name)
        elif answer[0] == ASK:
            needless.append(header.name)
        else:
            wrong.append((header.name, answer))
    print(
        f"{len(HEADERS)} headers: {len(right)} right, {len(asked)} asked rightly, "
        f"{len(needless)} asked without need, {len(wrong)} wrong and sure"
    )
    assert wrong == []
    assert len(needless) <= 0.05 * len(HEADERS), needless
