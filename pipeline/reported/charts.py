"""The look of every chart, and what a figure is.

Left and right implants differ by shape and filling as well as by colour, bands are
pale and lines dashed, so that a grey print or a colour-blind eye loses nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeAlias

import altair as alt
from altair.utils import schemapi

INK = "#22313a"
MUTED = "#52626b"
RULE = "#dde3e5"
LEFT = "#1f5f7a"
RIGHT = "#c9791a"
PAIR = "#1f5f7a"
BAND = "#dce7df"
FLOOR = "#7d9487"
PAPER = "#ffffff"

FULL = 870
HALF = 420
"""Widths of a figure on the screen, in pixels; paper scales them down."""

CROWDED = 1500
"""From this many marks on, a chart shows counts in cells instead of single dots."""

FONT = "system-ui, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"

Spec: TypeAlias = dict[str, Any]
Rows: TypeAlias = Sequence[Mapping[str, Any]]


@dataclass(frozen=True)
class Told:
    """The words that belong to one chart.

    Attributes:
        caption: one plain sentence under it, made from the data.
        description: what a screen reader says for the whole chart.
        title: above it; may be empty.
        key: what the signs mean.
    """

    caption: str
    description: str
    title: str = ""
    key: tuple[str, ...] = ()


@dataclass(frozen=True)
class Figure:
    """One chart with its words.

    Attributes:
        name: id of the figure on the page.
        spec: Vega-Lite specification; data by name only.
        tables: names of the tables the specification reads.
        width: of the figure on the screen, in pixels.
        told: its words.
    """

    name: str
    spec: Spec
    tables: tuple[str, ...]
    width: int
    told: Told


@contextmanager
def drawn_quickly() -> Iterator[None]:
    """Leave out the library's check of every chart, which takes half the time.

    The tests draw every chart with the check.
    """
    with schemapi.debug_mode(arg=False):
        yield


def data(table: str) -> alt.Chart:
    """Return an empty chart over a table of the page."""
    return alt.Chart(alt.NamedData(name=table))


def lit(on: float, off: float) -> alt.OpacityValue:
    """Return an opacity: ``on`` for the case picked, or for all when none is."""
    test = "picked === '' || datum.case === picked"
    return alt.OpacityValue(off, condition={"test": test, "value": on})


def picked_size(size: float) -> alt.SizeValue:
    """Return a size that grows for the case picked."""
    test = "picked !== '' && datum.case === picked"
    return alt.SizeValue(size, condition={"test": test, "value": 3 * size})


def x_axis(title: str, **options: Any) -> alt.Axis:
    """Return a horizontal axis with a few quiet lines."""
    settings: dict[str, Any] = {"tickCount": 6, **options}
    return alt.Axis(title=title, **settings)


def y_axis(title: str, **options: Any) -> alt.Axis:
    """Return a vertical axis with its title lying on top, where it can be read."""
    settings: dict[str, Any] = {
        "tickCount": 5,
        "titleAngle": 0,
        "titleAlign": "left",
        "titleAnchor": "end",
        "titleY": -8,
        "titleX": -30,
        **options,
    }
    return alt.Axis(title=title, **settings)


def figure(
    name: str,
    chart: Any,
    told: Told,
    *,
    width: int,
    height: int,
    view: tuple[int, int] | None = None,
) -> Figure:
    """Dress a chart and turn it into a figure.

    Args:
        name: id on the page; letters, digits and hyphens.
        chart: an Altair chart or layers, over tables named with `data`.
        told: its words.
        width: pixels, axes included.
        height: pixels, axes included.
        view: pixels inside the axes, where both axes must have the same scale; width
            and height are then only about right.
    """
    inner = view or (width, height)
    fitting = "pad" if view else "fit"
    sized = chart.properties(
        width=inner[0],
        height=inner[1],
        description=told.description,
        autosize=alt.AutoSizeParams(type=fitting, contains="padding"),
    )
    spec = sized.to_dict(validate=schemapi.DEBUG_MODE)
    del spec["$schema"]  # an outside address; the page says what it is
    spec["config"] = theme()
    spec["params"] = [{"name": "picked", "value": ""}]
    return Figure(name, spec, tuple(sorted(_tables(spec))), width, told)


def _tables(node: Any) -> set[str]:
    """Return the names of all data a specification reads."""
    found: set[str] = set()
    if isinstance(node, dict):
        named = node.get("data")
        if isinstance(named, dict) and "name" in named:
            found.add(named["name"])
        for part in node.values():
            found |= _tables(part)
    elif isinstance(node, list):
        for part in node:
            found |= _tables(part)
    return found


def theme() -> Spec:
    """Return the settings all charts share."""
    return {
        "background": PAPER,
        "font": FONT,
        "padding": {"left": 2, "right": 8, "top": 4, "bottom": 2},
        "view": {"stroke": None},
        "axis": {
            "domainColor": MUTED,
            "gridColor": RULE,
            "tickColor": MUTED,
            "labelColor": MUTED,
            "titleColor": INK,
            "labelFontSize": 12.5,
            "titleFontSize": 13,
            "titleFontWeight": "normal",
            "titlePadding": 7,
            "domain": False,
            "ticks": False,
            "labelPadding": 5,
            "labelFlush": False,
        },
        "text": {"fontSize": 12, "color": INK, "font": FONT},
        "point": {"strokeWidth": 1.4},
        "rule": {"color": MUTED},
    }


def cells(table: str, x: alt.X, y: alt.Y, count: str) -> alt.Chart:
    """Return counts in cells, for more marks than a page can draw one by one."""
    x, y = x.copy(), y.copy()
    x.bin, y.bin = alt.Bin(maxbins=30), alt.Bin(maxbins=30)
    scale = alt.Scale(range=["#e3ebee", LEFT])
    return (
        data(table)
        .mark_rect()
        .encode(
            x=x,
            y=y,
            color=alt.Color("count():Q", scale=scale, legend=alt.Legend(title=count)),
            tooltip=[alt.Tooltip("count():Q", title=count)],
        )
    )
