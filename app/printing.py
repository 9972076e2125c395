"""On paper there is the sheet and nothing else of the app."""

from __future__ import annotations

PRINTED = """<style>
.st-key-sheet { background: #fff; border-radius: .4rem; }
@media print {
  [data-testid="stSidebar"], [data-testid="stHeader"], [data-testid="stHeading"],
  .st-key-summary_asked, .st-key-summary_links, .st-key-report_asked, .st-key-report_downloads {
    display: none !important; }
  [data-testid="stMainBlockContainer"] { padding: 0 !important; max-width: none !important; }
  body, .stApp, .st-key-sheet { background: #fff !important; }
  .stApp, [data-testid="stAppViewContainer"], [data-testid="stMain"] {
    position: static !important; overflow: visible !important; height: auto !important;
    min-height: 0 !important; background: #fff !important; }
}
</style>"""
