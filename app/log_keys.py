"""Keys of the logging page: Ctrl+Down to the first open cell, Enter to the next, Ctrl+Enter saves.

A few lines in the browser and no round trip; leaving a cell is what hands it to the server.
"""

from __future__ import annotations

import streamlit as st

NAME = "casebook_log_keys"
SCRIPT = """
export default function (component) {
  const page = component.parentElement.ownerDocument;
  const cells = () => [...page.querySelectorAll('[class*="st-key-row_"] input')].filter(
    (one) => one.type !== "checkbox" && !one.disabled && one.offsetParent !== null);
  const save = () => page.querySelector(".st-key-save_visit button");
  const after = () => page.querySelector(
    '[class*="_next_due_on"] input:not(:disabled), [class*="_no_review"] input');
  const go = (from, step) => {
    const all = cells();
    // Behind the last cell comes the next visit, not the save: a key too many saves nothing.
    const to = all[all.indexOf(from) + step] || (step > 0 ? after() : from);
    to.focus();
    if (to.select) to.select();
    to.scrollIntoView({ block: "nearest" });
  };
  const pressed = (event) => {
    // The Tab key goes from cell to cell; what a row's menu offers has its short keys, too.
    if (event.key === "Tab")
      for (const one of page.querySelectorAll('[class*="st-key-why_"] button')) one.tabIndex = -1;
    if (event.key === "ArrowDown" && (event.ctrlKey || event.metaKey)) {
      const first = cells().find((one) => one.value === "") || cells()[0];
      if (!first) return;
      event.preventDefault();
      event.stopPropagation();
      first.focus();
      first.scrollIntoView({ block: "center" });
      return;
    }
    if (event.key !== "Enter" || event.isComposing || event.altKey) return;
    const at = event.target;
    if (event.ctrlKey || event.metaKey) {
      if (!save()) return;
      event.preventDefault();
      event.stopPropagation();
      save().focus();
      setTimeout(() => save().click(), 60);
      return;
    }
    if (!cells().includes(at)) return;
    event.preventDefault();
    event.stopPropagation();
    go(at, event.shiftKey ? -1 : 1);
  };
  page.addEventListener("keydown", pressed, true);
  page.documentElement.dataset.logKeys = "on";
  return () => page.removeEventListener("keydown", pressed, true);
}
"""


def listen() -> None:
    """Make the keys work on this page."""
    st.components.v2.component(NAME, js=SCRIPT)(key="log_keys")
