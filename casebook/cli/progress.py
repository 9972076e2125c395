"""A progress bar on standard error while a long import runs, where somebody watches."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from tqdm import tqdm

from casebook.domain.decisions import Decisions
from casebook.intake.mapping import FileMapping
from casebook.services.importing import ImportReport, import_files
from casebook.services.keeping import Casebook


def import_with_progress(
    casebook: Casebook,
    files: Sequence[Path],
    *,
    mappings: Mapping[Path, FileMapping] | None = None,
    decisions: Decisions | None = None,
    dry_run: bool = False,
    day_first: bool = False,
    known_runners_only: bool = False,
    by: str = "",
) -> ImportReport:
    """Import files as the service does, with a bar when standard error is a terminal."""
    with tqdm(
        desc="Importing",
        leave=False,
        file=sys.stderr,
        disable=not sys.stderr.isatty(),
        dynamic_ncols=True,
    ) as bar:

        def progress(done: int, whole: int, what: str) -> None:
            bar.set_description(what, refresh=False)
            bar.total = whole
            bar.update(done - bar.n)

        return import_files(
            casebook,
            files,
            mappings=mappings,
            decisions=decisions,
            dry_run=dry_run,
            day_first=day_first,
            known_runners_only=known_runners_only,
            by=by,
            progress=progress,
        )
