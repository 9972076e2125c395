"""Time to an event, limits of a funnel and graded outcomes against published worked examples."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from casebook.statistics.funnel import OUTER, funnel_limits
from casebook.statistics.ordinal import fit_ordinal, grade_shares
from casebook.statistics.survival import Survival, kaplan_meier

DATA = Path(__file__).parent / "data"


def remission(treatment: str) -> Survival:
    frame = pd.read_csv(DATA / "gehan_6mp.csv")
    rows = frame[frame["treat"] == treatment]
    return kaplan_meier(rows["time"].to_numpy(dtype=float), rows["cens"].to_numpy() == 1)


def test_weeks_in_remission_under_the_drug() -> None:
    """Freireich 1963: .857 .807 .753 .690 .627 .538 .448, median 23 weeks."""
    found = remission("6-MP")
    assert found.time.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert found.at_risk.tolist() == [21, 17, 15, 12, 11, 7, 6]
    assert found.events.tolist() == [3, 1, 1, 1, 1, 1, 1]
    assert found.share == pytest.approx(
        [
            6 / 7,
            0.80672268908,
            0.75294117647,
            0.69019607843,
            0.62745098039,
            0.53781512605,
            0.44817927171,
        ],
        rel=1e-9,
    )
    assert found.se == pytest.approx(
        [
            0.07636035483,
            0.08693528518,
            0.09634965299,
            0.10681470778,
            0.11405386526,
            0.12823375169,
            0.13459145676,
        ],
        rel=1e-9,
    )
    assert found.low == pytest.approx(
        [0.619717955, 0.563146565, 0.503199511, 0.431610222, 0.367510856, 0.267778937, 0.188052006],
        abs=1e-8,
    )
    assert found.high == pytest.approx(
        [0.951551748, 0.922809019, 0.889361835, 0.849065963, 0.804912189, 0.746790718, 0.680142628],
        abs=1e-8,
    )
    assert found.median == (23.0, 13.0, None)
    assert (found.n, found.n_events) == (21, 9)


def test_weeks_in_remission_without_it_until_nobody_is_left() -> None:
    found = remission("control")
    assert found.median == (8.0, 4.0, 11.0)
    assert found.share[-2:] == pytest.approx([1 / 21, 0.0], abs=1e-12)
    assert found.se[-2:] == pytest.approx([0.04647143205, 0.0], rel=1e-9)
    assert (found.low[-1], found.high[-1]) == (0.0, found.high[-2])
    assert (found.n, found.n_events) == (21, 21)


def test_limits_of_a_funnel_of_ten_units() -> None:
    frame = pd.read_csv(DATA / "funnel10.csv")
    overall = frame["num"].sum() / frame["den"].sum()
    totals = frame["den"].to_numpy()
    inner, outer = funnel_limits(overall, totals), funnel_limits(overall, totals, level=OUTER)
    assert inner[0] == pytest.approx(
        [
            0.2367278,
            0.24651041,
            0.24744795,
            0.25799532,
            0.26874941,
            0.26606603,
            0.03905298,
            0.24744795,
            0.2367278,
            0.24679434,
        ],
        abs=1e-8,
    )
    assert inner[1] == pytest.approx(
        [
            0.44298975,
            0.43492816,
            0.43403805,
            0.42460099,
            0.4152683,
            0.4175796,
            0.58027159,
            0.43403805,
            0.44298975,
            0.43405742,
        ],
        abs=1e-8,
    )
    assert outer[0] == pytest.approx(
        [
            0.18301822,
            0.19593808,
            0.19746198,
            0.2127392,
            0.22894513,
            0.2249673,
            0.0,
            0.19746198,
            0.18301822,
            0.19644179,
        ],
        abs=1e-8,
    )
    assert outer[1] == pytest.approx(
        [
            0.50516589,
            0.49113756,
            0.48953667,
            0.47477279,
            0.45901781,
            0.46290106,
            0.74462966,
            0.48953667,
            0.50516589,
            0.4908708,
        ],
        abs=1e-8,
    )


def test_sizes_of_tonsils_of_carriers_and_of_others() -> None:
    """McCullagh 1980: log odds ratio 0.603. Holmes & Williams 1954 for the counts."""
    counts = {0.0: (497, 560, 269), 1.0: (19, 29, 24)}
    grade = np.concatenate([np.repeat([1.0, 2.0, 3.0], row) for row in counts.values()])
    carrier = np.repeat(list(counts), [sum(row) for row in counts.values()])
    found = fit_ordinal(grade, carrier[:, None])
    assert found.log_odds[0] == pytest.approx(0.603, abs=5e-4)
    # By hand: the likelihood of the six counts, highest where its slopes are 0.
    shares = grade_shares(found, np.array([[0.0], [1.0]]))
    by_hand = float(np.sum(np.array(list(counts.values())) * np.log(shares)))
    assert found.log_likelihood == pytest.approx(by_hand, rel=1e-9)
    # There the expected sum of the cumulative scores equals the observed one.
    inner = np.column_stack([np.zeros(2), np.cumsum(shares, axis=1)])
    score = 1.0 - inner[:, 1:] - inner[:, :-1]
    assert np.sum(np.array(counts[1.0]) * score[1]) == pytest.approx(0.0, abs=0.01)
    assert found.low[0] < found.log_odds[0] < found.high[0]
    assert found.se[0] == pytest.approx(0.2274, abs=5e-4)
