"""Write every file of the invented clinic: `python -m seed_demo.generate --into FOLDER`.

The same seed gives the same bytes, on any machine: only the standard library's random
numbers are used, each runner and visit with a stream of its own.
"""

from __future__ import annotations

import argparse
import csv
from datetime import date
from pathlib import Path
from typing import Final

from seed_demo.cases import Cell, Table, draw_cases
from seed_demo.hypothesis_tables import draw_suppositions, hypotheses, truth_of_predictions
from seed_demo.marks_tables import marked_events, marked_points
from seed_demo.people_tables import consents, findings, injuries, runners, users
from seed_demo.plan_tables import (
    adherence,
    blocks,
    draw_plans,
    error_figures,
    programmes,
    targets,
)
from seed_demo.truth_table import truth_of_targets, truth_table
from seed_demo.visit_tables import tidy_visits, wide_visits

# The year in which the invented fog signal first sounded; chosen before any result was seen.
SEED: Final = 1871
SEMICOLON_FILE: Final = "visits_from_august_2026.csv"


def tables_of(seed: int) -> dict[str, Table]:
    """Every table by the name of its file."""
    cases = draw_cases(seed)
    plans = draw_plans(cases)
    supposed = draw_suppositions(plans, seed)
    return {
        "users.csv": users(),
        "runners.csv": runners(cases, seed),
        "consents.csv": consents(cases, seed),
        "injuries.csv": injuries(cases, seed),
        "findings.csv": findings(cases),
        "programmes.csv": programmes(plans, seed),
        "blocks.csv": blocks(plans),
        "targets.csv": targets(plans),
        "adherence.csv": adherence(plans, seed),
        "hypotheses.csv": hypotheses(supposed),
        "error_figures.csv": error_figures(),
        "visits_to_march_2026_wide.csv": wide_visits(cases),
        "visits_april_to_july_2026.csv": tidy_visits(cases, semicolons=False),
        SEMICOLON_FILE: tidy_visits(cases, semicolons=True),
        "truth.csv": truth_table(cases),
        "truth_predictions.csv": truth_of_predictions(supposed),
        "truth_targets.csv": truth_of_targets(targets(plans), cases),
        "marks_points.csv": marked_points(seed),
        "marks_events.csv": marked_events(seed),
    }


def write_files(folder: Path, *, seed: int = SEED) -> tuple[Path, ...]:
    """Write every file into a folder, which is made when it is not there.

    Parameters
    ----------
    folder : Path
    seed : int

    Returns
    -------
    tuple of Path
        The files written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, (head, rows) in tables_of(seed).items():
        path = folder / name
        comma = name == SEMICOLON_FILE
        with path.open("w", encoding="utf-8", newline="") as stream:
            writer = csv.writer(stream, delimiter=";" if comma else ",", lineterminator="\n")
            writer.writerow(head)
            writer.writerows([_text(cell, comma=comma) for cell in row] for row in rows)
        paths.append(path)
    return tuple(paths)


def _text(cell: Cell, *, comma: bool) -> str:
    if cell is None:
        return ""
    if isinstance(cell, date):
        return cell.isoformat()
    text = f"{cell:g}" if isinstance(cell, float) else str(cell)
    return text.replace(".", ",") if comma and _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def main() -> None:
    """Command line: write the files into a folder."""
    parser = argparse.ArgumentParser(description="Write the invented clinic's files.")
    parser.add_argument("--into", type=Path, required=True, help="folder to write into")
    parser.add_argument("--seed", type=int, default=SEED)
    chosen = parser.parse_args()
    for path in write_files(chosen.into, seed=chosen.seed):
        print(path)


if __name__ == "__main__":
    main()
