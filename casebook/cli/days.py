"""A day as it is typed behind an option."""

from __future__ import annotations

from datetime import date

import typer


def read_day(text: str | None, option: str) -> date | None:
    """The day that was typed, None where the option was not given.

    Raises
    ------
    BadParameter
        For what is no day; names the option.
    """
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise typer.BadParameter(
            f"'{text}' is no day; expected YYYY-MM-DD.", param_hint=option
        ) from error
