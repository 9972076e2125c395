"""How long a growth model of 5,000 runners takes, against statsmodels' own fit of it.

Both fit the same model to the same rows in one run; ours must take at most 1/20 of the time and
reach no lower a restricted log-likelihood, with estimates and standard errors alike to three
digits. Our time counts the check that each fit passes at statsmodels' own likelihood and gradient.
The second model is that of an audit, on days of each runner's own: where statsmodels says itself
that its search broke off, its numbers are none to be alike to.
"""

from __future__ import annotations

import os
import sys
import time
import warnings

# As the command has it; before anything loads numpy.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from casebook.domain.audit_growth import FitCheck
from casebook.statistics.growth.model import fit_growth
from casebook.statistics.growth.table import Covariate, GrowthTable, fixed_part

SUBJECTS, TIMES, BOUND = 5000, 6, 1 / 20


def main() -> int:
    """Measure both models; 1 when a bound is broken."""
    fine = [measured("by time", by_time()), measured("of an audit", of_an_audit())]
    return 0 if all(fine) else 1


def by_time() -> GrowthTable:
    """Everybody seen on the same days: a level and a slope."""
    random = np.random.default_rng(20261127)
    subject = np.repeat(np.arange(SUBJECTS), TIMES)
    when = np.tile(np.arange(float(TIMES)), SUBJECTS)
    own = random.multivariate_normal([0.0, 0.0], [[9.0, 0.4], [0.4, 0.3]], SUBJECTS)
    value = 20 + 0.5 * when + own[subject, 0] + own[subject, 1] * when
    value = value + random.normal(0.0, 2.0, len(subject))
    return GrowthTable(subject=subject, time=when, value=value)


def of_an_audit() -> GrowthTable:
    """On days of their own, with kind, step, speed and adherence."""
    table = by_time()
    random = np.random.default_rng(20261128)
    time_of = table.time - 1.0 + random.uniform(-0.3, 0.3, len(table.time))
    speed, done = (random.normal(size=SUBJECTS)[table.subject] for _ in range(2))
    after = (time_of > 0).astype(float)
    kind = (table.subject % 2).astype(np.int64)
    value = table.value + 0.8 * speed + after + (0.2 * kind + 0.1 * done) * time_of
    return GrowthTable(
        subject=table.subject,
        time=time_of,
        value=value,
        group=kind,
        groups=("injury", "performance"),
        covariates=(
            Covariate(name="after", value=after),
            Covariate(name="speed", value=speed),
            Covariate(name="adherence", value=done, by_time=True),
        ),
    )


def measured(name: str, table: GrowthTable) -> bool:
    """Whether our fit keeps the bounds against statsmodels' on the same rows."""
    began = time.process_time()
    found = fit_growth(table)
    ours, took = found.fit, time.process_time() - began
    design, _ = fixed_part(table)
    began = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = MixedLM(table.value, design, groups=table.subject, exog_re=design[:, :2]).fit(
            reml=True, method="lbfgs"
        )
    theirs_took = time.process_time() - began
    ratio = took / theirs_took
    pairs = zip([*ours.fixed, *ours.se], [*theirs.fe_params, *theirs.bse_fe], strict=True)
    worst = max(abs(a / b - 1) for a, b in pairs)
    alike = worst < 5e-4 or not theirs.converged
    checked = found.check is FitCheck.AGREES
    fine = checked and alike and ratio <= BOUND and ours.log_likelihood >= theirs.llf - 1e-4
    print(
        f"growth model {name}, {SUBJECTS} x {TIMES}, check {found.check}: {took:.2f} s against "
        f"{theirs_took:.1f} s, ratio 1/{1 / ratio:.0f} (bound 1/20); log-likelihood "
        f"{ours.log_likelihood:.4f} against {theirs.llf:.4f}"
        f"{'' if theirs.converged else ', which broke off'}; largest relative difference "
        f"{worst:.1e}: {'fine' if fine else 'NOT MET'}"
    )
    return fine


if __name__ == "__main__":
    sys.exit(main())
