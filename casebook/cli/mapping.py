"""`casebook propose-mapping`: what the columns of a spreadsheet hold, as a file to be mended."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from casebook.cli.objects import print_object

if TYPE_CHECKING:
    from casebook.intake.mapping import FileMapping
    from casebook.services.keeping import Casebook
    from casebook.services.mapping import FileProposal


def propose_mapping(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A workbook (.xlsx) or a CSV file.")],
    *,
    into: Annotated[
        Path | None,
        typer.Option(
            "--into", metavar="M.toml", help="Write the mapping into this new file, not out here."
        ),
    ] = None,
    db: Annotated[
        str | None,
        typer.Option(
            "--db", metavar="FILE_OR_ADDRESS", help="The casebook, whose catalogue is looked at."
        ),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="One JSON object on standard output and nothing else.")
    ] = False,
) -> None:
    """Propose what the columns of a spreadsheet hold: which metric, which side, which trial.

    The proposal is a small file. Where it is not sure it says '?' and names what it may be:
    put the answer there, then import with `casebook import FILE --mapping M.toml`. What
    was settled on the page Import for a file with the same columns is taken up again.
    """
    from casebook.cli.opening import opened
    from casebook.domain.errors import refuse
    from casebook.services import mapping

    with opened(db) as casebook:
        proposal = mapping.propose_mapping(casebook, file)
    text = mapping.mapping_text(proposal.mapping, proposal.sheets, title=f"For {file.name}")
    if into is not None:
        try:
            with into.open("x", encoding="utf-8") as new:
                new.write(text)
        except FileExistsError:
            raise refuse(
                "file_exists", f"{into} is there already and was left as it is; name a new file."
            ) from None
        except OSError as error:
            raise refuse(
                "file_unwritable", f"{into} cannot be written ({error.strerror})."
            ) from error
    if as_json:
        print_object(_proposal_object(file, proposal, text))
        return
    typer.echo(text if into is None else f"Written: {into}", nl=into is not None)
    questions = proposal.open_questions
    number = len(questions)
    if number:
        typer.echo(
            f"Still to be said, {number} question{'s' * (number != 1)}: {'; '.join(questions)}.",
            err=into is None,
        )


def mappings_of(
    casebook: Casebook, files: Sequence[Path], given: Path | None
) -> dict[Path, FileMapping]:
    """The mapping of `--mapping` for each file that is not told by its own headers."""
    if given is None:
        return {}
    from casebook.services import mapping

    chosen = mapping.read_mapping_file(given)
    return {
        path: chosen
        for path in files
        if len(files) == 1 or not mapping.is_understood(casebook, path)
    }


def _proposal_object(file: Path, proposal: FileProposal, text: str) -> dict[str, Any]:
    return {
        "file": file.name,
        "open_questions": list(proposal.open_questions),
        "sheets": [
            {
                "sheet": chosen.sheet,
                "row_is": chosen.row_is,
                "header_row": chosen.header_row,
                "dates": chosen.dates,
                "remembered": remembered,
                "summary_rows_seen": [
                    {"row": row, "label": label} for row, label in one.summaries.items()
                ],
                "columns": [
                    {
                        **_use_object(use),
                        "sure": column.sure or remembered,
                        "why": column.why,
                        "candidates": [_use_object(each) for each in column.candidates],
                    }
                    for column in one.columns
                    for use in chosen.columns
                    if use.header.casefold() == column.use.header.casefold()
                ],
            }
            for chosen, one, remembered in zip(
                proposal.mapping.sheets, proposal.sheets, proposal.remembered, strict=True
            )
        ],
        "mapping": text,
    }


def _use_object(use: Any) -> dict[str, Any]:
    return {
        "header": use.header,
        "holds": use.holds,
        "metric": use.metric,
        "side": use.side,
        "trial": use.trial,
        "unit": use.unit,
    }
