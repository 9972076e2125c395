"""Keys of the logging page: Ctrl+Down to the first open cell, Enter to the next, Ctrl+Enter saves.

A few lines in the browser and no round trip; leaving a cell is what hands it to the server.
When the server was away (restarted, or the session expired) it knows nothing of this page: its
cells would be typed into nothing. So the page is asked for anew as soon as the server is back,
and the text that stood half typed in a cell is put back there.
"""

from __future__ import annotations

import streamlit as st

NAME = "casebook_log_keys"
SCRIPT = """
let typing = null;
let away = false;

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
  const isCell = (one) => one.matches && one.matches('[class*="st-key-row_"] input');
  const typed = (event) => { if (isCell(event.target)) typing = event.target.ariaLabel; };
  // A cell that the lost connection shut under the hand was left without handing its text over.
  const left = (event) => { if (isCell(event.target) && !event.target.disabled) typing = null; };
  const drawn = () => page.querySelector('[data-test-script-state="notRunning"]');
  const putBack = (label, text, tries, begun) => {
    if (!begun && drawn() && tries > 130) return setTimeout(putBack, 100, label, text, tries - 1);
    if (!drawn() && tries > 0) return setTimeout(putBack, 100, label, text, tries - 1, true);
    const cell = cells().find((one) => one.ariaLabel === label);
    if (!cell || cell.value === text) return cell && cell.focus();
    cell.focus();
    Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(cell, text);
    cell.dispatchEvent(new Event("input", { bubbles: true }));
  };
  const watch = new MutationObserver((changes) => {
    const one = changes.map((change) => change.target).find(isCell);
    if (!one || one.disabled === away) return;
    away = one.disabled;
    if (away) return;
    const half = [...page.querySelectorAll('[class*="st-key-row_"] input')].find(
      (cell) => typing && cell.ariaLabel === typing);
    const text = half && half.value;
    component.setTriggerValue("back", Date.now());
    if (half) setTimeout(putBack, 100, typing, text, 150);
  });
  watch.observe(page.body, { attributes: true, attributeFilter: ["disabled"], subtree: true });
  page.addEventListener("input", typed, true);
  page.addEventListener("focusout", left, true);
  page.addEventListener("keydown", pressed, true);
  page.documentElement.dataset.logKeys = "on";
  return () => {
    watch.disconnect();
    page.removeEventListener("input", typed, true);
    page.removeEventListener("focusout", left, true);
    page.removeEventListener("keydown", pressed, true);
  };
}
"""


def listen() -> None:
    """Make the keys work on this page."""
    st.components.v2.component(NAME, js=SCRIPT)(key="log_keys", on_back_change=_nothing_more)


def _nothing_more() -> None:
    """That the page is drawn whole is all that is asked for."""
