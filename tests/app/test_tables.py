"""Tables on a telephone: each row one below the other, each cell beside its column's name."""

from __future__ import annotations

import re

from streamlit.testing.v1 import AppTest


def test_each_cell_but_the_heading_one_is_named_by_its_column_where_the_screen_is_narrow() -> None:
    def script() -> None:
        import pandas as pd

        from app.tables import show_stacked

        rows = pd.DataFrame([{"Metric": "hop", "Now": "106 cm", 'a "b" </style>': ""}])
        show_stacked(rows, key="rows", alt="rows")

    app = AppTest.from_function(script).run()
    assert not app.exception
    style = app.get("html")[0].proto.body
    named = re.findall(r"td:nth-child\((\d)\)::before \{ content: (.+); \}", style)
    assert named == [("2", '"Now"'), ("3", r'"a \"b\" \3c /style>"')]
    assert style.count("</style>") == 1
    assert app.table[0].value.iloc[0, 2] == "–"
