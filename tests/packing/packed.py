"""An invented package, small, with something missing in it and every type of field."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from casebook.domain.packages import ALL_FORMATS, Field, FieldType, FileFormat, Link, Package, Table
from casebook.packing.writing import PackageWriter, Packed

RUNNER = Field(name="runner", type=FieldType.STRING, words="Pseudonym.", pattern="R[0-9a-f]{4}")
VISIT = Field(name="visit", type=FieldType.STRING, words="Pseudonym.", pattern="V[0-9a-f]{4}")
PACKAGE = Package(
    name="invented-export",
    title="Invented runners",
    words="Nobody in it is a real person.",
    licence="For nobody but the tests.",
    tables=(
        Table(
            name="runners",
            words="One runner.",
            fields=(
                RUNNER,
                Field(
                    name="age_band", type=FieldType.STRING, words="Age at the first visit.",
                    allowed=("18 to 29", "30 to 39", "40, or more | \"old\""),
                ),
                Field(name="withheld", type=FieldType.BOOLEAN, words="Whether a part is withheld."),
            ),
            key=("runner",),
        ),
        Table(
            name="visits",
            words="One visit.",
            fields=(
                VISIT,
                Field(
                    name="runner", type=FieldType.STRING, words="Whose.", pattern="R[0-9a-f]{4}",
                    required=True,
                ),
                Field(
                    name="day", type=FieldType.INTEGER, words="Days since the first visit.",
                    unit="d", low=0, high=4000,
                ),
                Field(
                    name="before", type=FieldType.STRING, words="The visit before it.",
                    pattern="V[0-9a-f]{4}|Vnone",
                ),
            ),
            key=("visit",),
            links=(
                Link(fields=("runner",), table="runners", its_fields=("runner",)),
                Link(fields=("before",), table="visits", its_fields=("visit",)),
            ),
        ),
        Table(
            name="readings",
            words="One reading of one side.",
            fields=(
                VISIT,
                Field(
                    name="side", type=FieldType.STRING, words="Side of the body.",
                    allowed=("left", "right"),
                ),
                Field(
                    name="contact", type=FieldType.NUMBER, words="Contact time.", unit="ms", low=0
                ),
                Field(name="drop", type=FieldType.NUMBER, words="Pelvic drop.", unit="deg"),
            ),
            key=("visit", "side"),
            links=(Link(fields=("visit",), table="visits", its_fields=("visit",)),),
        ),
        Table(
            name="counts",
            words="One count. Nothing names a row.",
            fields=(
                Field(name="n", type=FieldType.INTEGER, words="Many.", low=0, required=True),
            ),
        ),
    ),
)  # fmt: skip


def frames() -> dict[str, pd.DataFrame]:
    """Two runners with three visits; no count at all."""
    return {
        "runners": pd.DataFrame(
            {
                "runner": ["R0001", "R00af"],
                "age_band": ['40, or more | "old"', None],
                "withheld": pd.array([True, None], dtype="boolean"),
            }
        ),
        "visits": pd.DataFrame(
            {
                "visit": ["V0001", "V0002", "V0003"],
                "runner": ["R0001", "R0001", "R00af"],
                "day": [0.0, 31.0, float("nan")],
                "before": [None, "V0001", None],
            }
        ),
        "readings": pd.DataFrame(
            {
                "visit": pd.Categorical(["V0001", "V0001", "V0002", "V0003"]),
                "side": ["left", "right", "left", "right"],
                "contact": [250.1, 0.1 + 0.2, None, 1e-7],
                "drop": [-3.5, 1 / 3, -1e21, 0.0],
            }
        ),
        "counts": pd.DataFrame({"n": pd.Series([], dtype="int64")}),
    }


def write(
    folder: Path,
    *,
    changed: dict[str, pd.DataFrame] | None = None,
    formats: frozenset[FileFormat] = ALL_FORMATS,
    rows_at_once: int = 1000,
) -> Packed:
    """The package in a folder, its rows given in parts of some size."""
    with PackageWriter(folder, PACKAGE, formats) as writer:
        for table, frame in (frames() | (changed or {})).items():
            for start in range(0, max(1, len(frame)), rows_at_once):
                writer.add(table, frame.iloc[start : start + rows_at_once])
        return writer.finish(
            texts={"README.txt": "Invented.\n"}, extra={"settings": {"k": 5, "purpose": "audit"}}
        )
