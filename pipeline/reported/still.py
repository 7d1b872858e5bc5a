"""A chart as a file of its own: lines for print, a picture for slides; no network."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.reported.charts import Figure, Rows

SHARPNESS = 2.5
"""Pixels of a picture for each pixel of the page."""


def drawn(figure: Figure, tables: Mapping[str, Rows], language: str) -> str:
    """Return a figure as SVG.

    Args:
        figure: the chart.
        tables: the rows of all charts, by name.
        language: version of the chart language, as on the page.
    """
    import vl_convert

    datasets = {name: list(tables[name]) for name in figure.tables}
    svg: str = vl_convert.vegalite_to_svg(
        {**figure.spec, "datasets": datasets}, vl_version=language
    )
    return svg


def pictured(svg: str) -> bytes:
    """Return an SVG as PNG."""
    import vl_convert

    png: bytes = vl_convert.svg_to_png(svg, scale=SHARPNESS)
    return png
