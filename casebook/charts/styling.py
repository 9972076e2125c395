"""One look for every chart."""

from __future__ import annotations

from typing import Any, TypeAlias

import altair as alt
from altair.utils import schemapi

from casebook.charts.palette import Palette

FONT = "system-ui, -apple-system, 'Segoe UI', 'DejaVu Sans', sans-serif"


AnyChart: TypeAlias = alt.Chart | alt.LayerChart | alt.FacetChart

# A chart is held to the grammar as a whole when it is drawn (`to_dict`). Holding each part to it
# as it is made, too, would take a third of the time in which a page with charts is shown.
schemapi.disable_debug_mode()


def styled(chart: AnyChart, palette: Palette) -> AnyChart:
    """The chart with the casebook's fonts, axes and background, filling its container's width.

    Parameters
    ----------
    chart : altair chart, single or layered
    palette : Palette
        Day or night.
    """
    filled: AnyChart = chart.properties(width="container")
    filled.autosize = alt.AutoSizeParams(type="fit-x", contains="padding")
    filled.config = alt.Config(**_look(palette))
    return filled


def _look(palette: Palette) -> dict[str, Any]:
    words = {
        "labelFont": FONT,
        "titleFont": FONT,
        "labelColor": palette.text,
        "titleColor": palette.text,
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
    }
    return {
        "background": palette.background,
        "font": FONT,
        "view": {"stroke": None},
        "axis": {
            **words,
            "domainColor": palette.muted,
            "tickColor": palette.muted,
            "gridColor": palette.grid,
        },
        "legend": {
            **words,
            "orient": "top",
            "symbolSize": 110,
            "symbolStrokeWidth": 2,
            "symbolOpacity": 1,
        },
        "title": {
            "font": FONT,
            "color": palette.text,
            "fontSize": 14,
            "fontWeight": 600,
            "anchor": "start",
            "subtitleFont": FONT,
            "subtitleColor": palette.muted,
            "subtitleFontSize": 12,
        },
        "text": {"font": FONT, "color": palette.text, "fontSize": 12},
    }
