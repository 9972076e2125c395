"""How long a growth model of 5,000 subjects takes, against statsmodels' own fit of it.

Both fit the same model to the same rows in one run; ours must take at most 1/20 of the time and
reach no lower a restricted log-likelihood, with estimates and standard errors alike to three
digits. The time counts the check that our fit passes at statsmodels' own likelihood and gradient.
"""

from __future__ import annotations

import sys
import time
import warnings

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from casebook.domain.audit_growth import FitCheck
from casebook.statistics.growth.model import fit_growth
from casebook.statistics.growth.table import GrowthTable

SUBJECTS, TIMES, BOUND = 5000, 6, 1 / 20


def main() -> int:
    random = np.random.default_rng(20261127)
    subject = np.repeat(np.arange(SUBJECTS), TIMES)
    when = np.tile(np.arange(float(TIMES)), SUBJECTS)
    own = random.multivariate_normal([0.0, 0.0], [[9.0, 0.4], [0.4, 0.3]], SUBJECTS)
    value = 20 + 0.5 * when + own[subject, 0] + own[subject, 1] * when
    value = value + random.normal(0.0, 2.0, len(subject))
    began = time.process_time()
    found = fit_growth(GrowthTable(subject=subject, time=when, value=value))
    ours = found.fit
    took = time.process_time() - began
    design = np.column_stack([np.ones(len(when)), when])
    began = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(value, design, groups=subject, exog_re=design).fit(
            reml=True, method="lbfgs"
        )
    theirs_took = time.process_time() - began
    ratio = took / theirs_took
    pairs = zip([*ours.fixed, *ours.se], [*theirs.fe_params, *theirs.bse_fe], strict=True)
    worst = max(abs(a / b - 1) for a, b in pairs)
    checked = found.check is FitCheck.AGREES
    fine = checked and ratio <= BOUND and ours.log_likelihood >= theirs.llf - 1e-4 and worst < 5e-4
    print(
        f"growth model of {SUBJECTS} x {TIMES}, check {found.check}: {took:.2f} s against "
        f"{theirs_took:.1f} s, ratio 1/{1 / ratio:.0f} (bound 1/20); log-likelihood {ours.log_likelihood:.4f} against "
        f"{theirs.llf:.4f}; largest relative difference {worst:.1e}: "
        f"{'fine' if fine else 'NOT MET'}"
    )
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
