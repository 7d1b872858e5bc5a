"""Boxes and arrows of a flow diagram: downward what stays, to the right what leaves."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import altair as alt

from pipeline.reported import charts
from pipeline.reported.charts import FULL, Figure, Rows, Told
from pipeline.reported.table_reader import Row

STEP: Final = 4.0
TALL: Final = 2.4
LINE: Final = 0.72
"""Heights in the chart's own units: from box to box, of a box, of a line of text."""

PIXELS: Final = 30
LEFT_BOX, RIGHT_BOX, ROOM = (0.0, 4.4), (5.4, 10.0), 0.2
WAYS: Final = alt.Scale(
    domain=["down", "right"], range=["triangle-down", "triangle-right"]
)


@dataclass
class FlowChart:
    """A diagram in the making, from top to bottom."""

    top: float = 0.0
    boxes: list[Row] = field(default_factory=list)
    lines: list[Row] = field(default_factory=list)
    arrows: list[Row] = field(default_factory=list)

    def stays(self, said: list[str]) -> None:
        """Add a box for what is still in."""
        self._box(LEFT_BOX, self.top, TALL, said)
        self.top += TALL

    def leaves(self, said: list[str]) -> None:
        """Add the way down to the next box, and a box beside it for what leaves."""
        height = _height(said)
        gap = max(STEP - TALL, height + 1.0)
        middle = self.top + gap / 2
        down = sum(LEFT_BOX) / 2
        self._arrow(down, self.top, down, self.top + gap, "down")
        self._arrow(down, middle, RIGHT_BOX[0], middle, "right")
        self._box(RIGHT_BOX, middle - height / 2, height, said)
        self.top += gap

    def consists_of(self, said: list[str]) -> None:
        """Add a box beside the last one that says what is in it."""
        start = self.top - TALL
        middle = start + TALL / 2
        self._arrow(LEFT_BOX[1], middle, RIGHT_BOX[0], middle, "")
        height = max(TALL, _height(said))
        self._box(RIGHT_BOX, start, height, said)
        self.top = start + height

    def _box(
        self, sides: tuple[float, float], top: float, height: float, said: list[str]
    ) -> None:
        self.boxes.append({"x": sides[0], "x2": sides[1], "y": top, "y2": top + height})
        first = top + height / 2 - LINE * (len(said) - 1) / 2
        self.lines += [
            {"x": sides[0] + ROOM, "y": first + LINE * at, "text": text}
            for at, text in enumerate(said)
        ]

    def _arrow(self, x: float, y: float, x2: float, y2: float, way: str) -> None:
        self.arrows.append({"x": x, "y": y, "x2": x2, "y2": y2, "way": way})

    def drawn(self, name: str, told: Told) -> tuple[Figure, dict[str, Rows]]:
        """Return the figure and the rows it reads."""
        figure = charts.figure(
            name,
            _layers(name, self.top),
            told,
            width=FULL,
            height=round(PIXELS * self.top) + 12,
        )
        return figure, {
            f"{name}_boxes": self.boxes,
            f"{name}_lines": self.lines,
            f"{name}_arrows": self.arrows,
        }


def _height(said: list[str]) -> float:
    return LINE * (len(said) + 1)


def _layers(name: str, height: float) -> alt.LayerChart:
    x_scale = alt.Scale(domain=[-0.05, RIGHT_BOX[1] + 0.05], nice=False)
    y_scale = alt.Scale(domain=[-0.1, height + 0.1], reverse=True, nice=False)
    x = alt.X("x:Q", scale=x_scale, axis=None)
    y = alt.Y("y:Q", scale=y_scale, axis=None)
    arrows = charts.data(f"{name}_arrows")
    return alt.layer(
        arrows.mark_rule(color=charts.MUTED, strokeWidth=1.4).encode(
            x=x, y=y, x2="x2:Q", y2="y2:Q"
        ),
        arrows.transform_filter("datum.way !== ''")
        .mark_point(filled=True, size=70, opacity=1, color=charts.MUTED)
        .encode(
            x=alt.X("x2:Q", scale=x_scale, axis=None),
            y=alt.Y("y2:Q", scale=y_scale, axis=None),
            shape=alt.Shape("way:N", scale=WAYS, legend=None),
        ),
        charts.data(f"{name}_boxes")
        .mark_rect(fill=charts.PAPER, stroke=charts.MUTED, strokeWidth=1.2)
        .encode(x=x, y=y, x2="x2:Q", y2="y2:Q"),
        charts.data(f"{name}_lines")
        .mark_text(align="left", baseline="middle", fontSize=12.5, color=charts.INK)
        .encode(x=x, y=y, text="text:N"),
    )
