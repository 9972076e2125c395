"""False-discovery control against the example of Benjamini & Hochberg 1995."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from statsmodels.stats.multitest import multipletests

from casebook.statistics.flagging import q_values

# Data from memory, see data/bh1995_p.source.md.
DATA = Path(__file__).parent / "data" / "bh1995_p.csv"

# Adjusted values computed by R 4.2.2 p.adjust(method = "BH").
ADJUSTED = [
    0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.063857143, 0.063857143, 0.0645, 0.0765, 0.486,
    0.581181818, 0.714875, 0.753230769, 0.813214286, 1.0,
]  # fmt: skip


@pytest.fixture(name="p")
def _p() -> np.ndarray:
    with DATA.open(encoding="utf-8") as lines:
        return np.array([float(row["p"]) for row in csv.DictReader(lines)])


# Conclusion of the paper: four hypotheses are rejected at q = 0.05.
def test_four_of_the_fifteen_hypotheses_are_rejected(p: np.ndarray) -> None:
    q = q_values(p, np.zeros(p.size, dtype=np.int64))
    assert np.count_nonzero(q <= 0.05) == 4
    assert q == pytest.approx(ADJUSTED, abs=5e-10)


# statsmodels is an independent implementation.
def test_statsmodels_adjusts_the_same_way(p: np.ndarray) -> None:
    rejected, adjusted, *_ = multipletests(p, alpha=0.05, method="fdr_bh")
    assert q_values(p, np.ones(p.size, dtype=np.int64)) == pytest.approx(adjusted, rel=1e-12)
    assert rejected.sum() == 4
