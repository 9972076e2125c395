"""What was typed last is handed over before another page is drawn.

The page hands a box over when it is left, and a click on a link leaves it: both messages arrive
within milliseconds. Streamlit then drops the first where its server is still busy, for the
second holds nothing of the page that is left. So the link of a box just changed waits, in the
browser, until the page has been drawn with what the box holds, a moment on most pages.
"""

from __future__ import annotations

import streamlit as st

# How long a box that asked nothing of the server, and a page that takes long, hold a link.
UNASKED_MS, LONGEST_MS = 1500, 8000
SCRIPT = f"""
<script>
(() => {{
  if (document.documentElement.dataset.handsOver) return;
  document.documentElement.dataset.handsOver = "on";
  const LINKS = '[data-testid="stSidebarNavLink"], [data-testid="stPageLink-NavLink"]';
  const rests = () => document.querySelector('[data-test-script-state="notRunning"]');
  let drawings = 0, changed = 0, then = 0, going = false;
  new MutationObserver(() => {{ if (!rests()) drawings += 1; }}).observe(document.body,
    {{ attributes: true, attributeFilter: ["data-test-script-state"], subtree: true }});
  const handedOver = () => {{
    const since = Date.now() - changed;
    return since > {LONGEST_MS}
      || (rests() && (drawings > then || since > {UNASKED_MS}));
  }};
  const follow = (link) => {{
    if (!handedOver()) return setTimeout(follow, 20, link);
    changed = 0;
    going = true;
    const same = [...document.querySelectorAll(LINKS)].find((one) => one.href === link.href);
    (link.isConnected ? link : same || link).click();
    going = false;
  }};
  document.addEventListener("change", (event) => {{
    if (!event.isTrusted || !event.target.closest('[data-testid="stMain"]')) return;
    changed = Date.now();
    then = drawings;
  }}, true);
  document.addEventListener("click", (event) => {{
    const link = event.target.closest && event.target.closest(LINKS);
    if (!link || going || !changed || handedOver()) return;
    if (event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    follow(link);
  }}, true);
}})();
</script>
"""


def listen() -> None:
    """Hold the links of the app back until what was typed last is handed over."""
    with st.container(key="hand_over"):
        st.html(SCRIPT, unsafe_allow_javascript=True)
