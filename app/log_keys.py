"""Keys of the logging page: Enter goes to the next cell, Ctrl+Enter saves.

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
  const open = (one) =>
    one.getAttribute("role") === "combobox" && one.getAttribute("aria-expanded") === "true";
  let choosing = false;
  const pressed = (event) => {
    if (choosing) return;
    // The Tab key goes from cell to cell; the menu of reasons has its own short keys.
    if (event.key === "Tab") {
      for (const one of page.querySelectorAll('[class*="st-key-why_"] button')) one.tabIndex = -1;
      const from = event.target;
      if (!cells().includes(from) || !open(from)) return;
      // Left by Tab, a list would forget what is marked in it.
      event.preventDefault();
      event.stopPropagation();
      choosing = true;
      const enter = { key: "Enter", code: "Enter", bubbles: true, cancelable: true };
      from.dispatchEvent(new KeyboardEvent("keydown", enter));
      choosing = false;
      setTimeout(() => go(from, event.shiftKey ? -1 : 1), 0);
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
    if (open(at)) {
      setTimeout(() => go(at, 1), 0);
      return;
    }
    event.preventDefault();
    event.stopPropagation();
    go(at, event.shiftKey ? -1 : 1);
  };
  page.addEventListener("keydown", pressed, true);
  return () => page.removeEventListener("keydown", pressed, true);
}
"""


def listen() -> None:
    """Make the keys work on this page."""
    st.components.v2.component(NAME, js=SCRIPT)(key="log_keys")
