"""Tables that a telephone can show: each row one below the other, its columns named beside it.

Other tables stay as wide as they are: `look.css` lets a line above those say that they can be
pushed sideways, wherever they are wider than their place.
"""

from __future__ import annotations

import json

import pandas as pd
import streamlit as st

NARROW = "640px"


def show_stacked(rows: pd.DataFrame, *, key: str, alt: str) -> None:
    """Show a table that falls into one card a row where the screen is narrow.

    Parameters
    ----------
    rows : pandas.DataFrame
        Texts; the first column heads the card, and a blank cell is shown as a dash.
    key : str
        Of the container, `.st-key-KEY` in `look.css`.
    alt : str
        What the table is, for who can't see it.
    """
    with st.container(key=key):
        st.html(f"<style>{_stacking(key, [str(name) for name in rows.columns])}</style>")
        st.table(rows.replace("", "–"), border="horizontal", hide_index=True, alt=alt)


def _stacking(key: str, columns: list[str]) -> str:
    here = f".st-key-{key}"
    named = "\n".join(
        f"{here} td:nth-child({at})::before {{ content: {_quoted(name)}; }}"
        for at, name in enumerate(columns, 1)
        if at > 1
    )
    return f"""@media (max-width: {NARROW}) {{
{here} table {{ min-width: 0; }}
{here} thead {{ display: none; }}
{here} :is(table, tbody, tr) {{ display: block; }}
{here} tr {{ padding: 0.5rem 0; border-bottom: 1px solid color-mix(in srgb, currentColor 22%, transparent); }}
{here} td {{ display: grid; grid-template-columns: 7rem 1fr; gap: 0.6rem; border: 0; padding: 0.1rem 0; }}
{here} td, {here} td * {{ white-space: normal !important; overflow-wrap: anywhere; }}
{here} td:first-child {{ display: block; font-weight: 600; }}
{here} td::before {{ opacity: 0.82; }}
{named}
}}"""  # noqa: E501


def _quoted(words: str) -> str:
    """Words as a string of a style sheet, from which nothing can break out."""
    return json.dumps(words, ensure_ascii=False).replace("<", "\\3c ").replace("\\n", " ")
