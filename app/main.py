"""The app's entry: which pages there are, and what stands beside every one of them."""

from __future__ import annotations

import sys
from pathlib import Path

import streamlit as st

# Streamlit puts this file's own folder on the path; the pages are imported as `app.…`.
HOUSE = str(Path(__file__).resolve().parent.parent)
if HOUSE not in sys.path:
    sys.path.insert(0, HOUSE)

from app import hand_over, sidebar  # noqa: E402
from app.messages import calmly  # noqa: E402
from app.routes import GROUPS, page  # noqa: E402

st.set_page_config(
    page_title="casebook",
    page_icon=str(Path(__file__).parent / "icon.png"),
    layout="wide",
    initial_sidebar_state=255,
)

st.html(Path(__file__).parent / "look.css")
hand_over.listen()
chosen = st.navigation(
    {group: [page(name) for name in names] for group, names in GROUPS.items()},
    position="sidebar",
    expanded=True,
)
with calmly():
    sidebar.show()
    chosen.run()
