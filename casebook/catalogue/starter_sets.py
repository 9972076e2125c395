"""The measurement sets that a clinic begins with, from their readable file."""

from __future__ import annotations

import tomllib
from importlib import resources

from casebook.domain.measurement_sets import MeasurementSet

STARTER_SETS = "starter_sets.toml"


def starter_sets() -> tuple[MeasurementSet, ...]:
    """The sets that come with the product, in order."""
    text = resources.files("casebook.catalogue").joinpath(STARTER_SETS).read_text("utf-8")
    return tuple(
        MeasurementSet(name=one["name"], purpose=one["purpose"], metrics=tuple(one["metrics"]))
        for one in tomllib.loads(text)["set"]
    )
