"""Each case in date order, against the published band it may be compared with.

Cases that belong to different comparison sets stand side by side in blocks, each block
in date order and over its own band.
"""

from __future__ import annotations

from typing import Any

import altair as alt

from pipeline.reported import blocks as in_blocks
from pipeline.reported import charts, drawn
from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.blocks import Block, blocks_of, gap_for
from pipeline.reported.charts import Figure, Rows, Told
from pipeline.reported.matching import set_words
from pipeline.reported.section import Section, Wait
from pipeline.reported.sections import each_case
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Measure, measures, median_of, whole

FEWEST = 5
"""Cases a strip takes."""

HEIGHT = 182
MOST_WITHOUT_STRIP = 8
"""Cases listed on the second side while there are too few for a strip."""

SIGN_NAMES = ["left", "right", "pair", drawn.ON_PURPOSE]
SHAPES = alt.Scale(domain=SIGN_NAMES, range=["circle", "diamond", "circle", "cross"])
INKS = alt.Scale(
    domain=SIGN_NAMES, range=[charts.LEFT, charts.RIGHT, charts.PAIR, charts.MUTED]
)


def content(audit: AuditTables) -> Section:
    """Return a strip for each primary measure, or what it waits for."""
    figures: list[Figure] = []
    tables: dict[str, Rows] = {}
    waits: list[Wait] = []
    for known in measures().values():
        if not known.is_primary:
            continue
        rows = (
            drawn.implants(audit) if known.place == "implants" else drawn.pairs(audit)
        )
        held = drawn.held(rows, known.name)
        n_cases = len({row["case"] for row in held})
        if n_cases < FEWEST:
            waits.append(Wait("strip", n_cases, FEWEST, "case", known.label))
            continue
        drawing, more = _strip(audit, known, held)
        figures.append(drawing)
        tables |= more
    few = [] if figures else audit.cases[-MOST_WITHOUT_STRIP:]
    return Section(
        {
            "figures": figures,
            "key": _signs(audit),
            "cases": each_case.lines(audit, few),
            "n_left_out": audit.counts["cases"] - len(few),
        },
        tuple(figures),
        tables,
        tuple(waits),
    )


def _strip(
    audit: AuditTables, known: Measure, held: list[Row]
) -> tuple[Figure, dict[str, Rows]]:
    words = audit.words
    blocks = blocks_of(audit, known, held)
    place = {case: at for block in blocks for case, at in block.places.items()}
    rows = [{**row, "place": place[row["case"]]} for row in held]
    rest = [block for block in blocks if block.verdict is not None]
    top = drawn.nice_limit(
        [
            *(row[known.name] for row in rows),
            *(
                (block.verdict or {})["band_high"] + (block.verdict or {})["floor"]
                for block in rest
            ),
        ],
        1 if known.unit == "mm" else 2,
    )
    name = known.name
    tables: dict[str, Rows] = {
        f"strip_{name}": rows,
        f"strip_{name}_bands": [in_blocks.band(block) for block in rest],
        f"strip_{name}_edges": [
            edge for block in rest for edge in in_blocks.edges(block)
        ],
        f"strip_{name}_means": [
            in_blocks.mean(block) for block in rest if in_blocks.has_interval(block)
        ],
        f"strip_{name}_days": in_blocks.day_labels(audit, blocks),
        f"strip_{name}_letters": [
            {"place": block.start, "text": block.letter, "top": top}
            for block in blocks
            if len(blocks) > 1
        ],
    }
    caption = _caption(audit, known, rows, rest, place)
    drawing = charts.figure(
        f"strip-{name.replace('_', '-')}",
        _layers(audit, known, blocks, rows, top),
        Told(
            caption,
            words("strip.aria", label=known.label, caption=caption),
            key=_key(audit, known, blocks),
        ),
        width=charts.FULL,
        height=HEIGHT,
    )
    return drawing, tables


def _layers(
    audit: AuditTables, known: Measure, blocks: list[Block], rows: list[Row], top: float
) -> alt.LayerChart:
    words, name = audit.words, known.name
    x_scale = alt.Scale(
        domain=[
            blocks[0].start - 0.3,
            blocks[-1].end + gap_for(sum(len(block.places) for block in blocks)) - 1,
        ],
        nice=False,
    )
    y_scale = alt.Scale(domain=[0, top], nice=False)

    def x(field: str) -> alt.X:
        return alt.X(f"{field}:Q", scale=x_scale, axis=None)

    def y(field: str) -> alt.Y:
        title = words(
            "strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}")
        )
        return alt.Y(f"{field}:Q", scale=y_scale, axis=charts.y_axis(title))

    day_ink = {
        "color": charts.MUTED,
        "fontSize": 11,
        "baseline": "top",
        "align": "center",
    }
    table = f"strip_{name}"
    edges = {"color": charts.FLOOR, "strokeDash": [4, 3], "strokeWidth": 1}
    mean_ink = {"color": charts.INK, "strokeWidth": 2.2}
    return alt.layer(
        charts.data(f"{table}_bands")
        .mark_rect(color=charts.BAND)
        .encode(x=x("start"), x2=alt.X2("end:Q"), y=y("low"), y2=alt.Y2("high:Q")),
        charts.data(f"{table}_edges")
        .mark_rule(**edges)
        .encode(x=x("start"), x2=alt.X2("end:Q"), y=y("at")),
        *_marks(audit, known, rows, x, y),
        charts.data(f"{table}_means")
        .mark_rule(**mean_ink)
        .encode(x=x("place"), y=y("low"), y2=alt.Y2("high:Q")),
        charts.data(f"{table}_means")
        .mark_tick(color=charts.INK, thickness=2.2, size=11, orient="horizontal")
        .encode(x=x("place"), y=y("mean")),
        charts.data(f"{table}_days")
        .mark_text(**day_ink, dy=5)
        .encode(x=x("place"), y=alt.YDatum(0, scale=y_scale), text=alt.Text("text:N")),
        charts.data(f"{table}_letters")
        .mark_text(align="left", baseline="top", fontWeight="bold", dx=3)
        .encode(x=x("place"), y=y("top"), text=alt.Text("text:N")),
    )


def _marks(
    audit: AuditTables, known: Measure, rows: list[Row], x: Any, y: Any
) -> list[Any]:
    words, table = audit.words, f"strip_{known.name}"
    if len(rows) >= charts.CROWDED:
        return [charts.cells(table, x("place"), y(known.name), words("tip.count"))]
    many = len(rows) > 160
    both = (
        charts.data(table)
        .mark_line(color=charts.MUTED, strokeWidth=0.8)
        .encode(
            x=x("place"),
            y=y(known.name),
            detail=alt.Detail("case:N"),
            opacity=charts.lit(0.7, 0.1),
        )
    )
    dots = (
        charts.data(table)
        .mark_point(filled=True, stroke=charts.PAPER, strokeWidth=0.6)
        .encode(
            x=x("place"),
            y=y(known.name),
            shape=alt.Shape("sign:N", scale=SHAPES, legend=None),
            color=alt.Color("sign:N", scale=INKS, legend=None),
            opacity=charts.lit(0.95, 0.15),
            size=charts.picked_size(22 if many else 58),
            description=alt.Description("case:N"),
            tooltip=_tips(audit, known),
        )
    )
    return [both, dots] if known.place == "implants" and not many else [dots]


def _tips(audit: AuditTables, known: Measure) -> list[alt.Tooltip]:
    words = audit.words
    tips = [
        alt.Tooltip("case:N", title=words("tip.case")),
        alt.Tooltip("day:N", title=words("tip.day")),
        alt.Tooltip(
            f"{known.name}:Q",
            title=words(
                "strip.axis", label=known.label, unit=words(f"axis_unit.{known.unit}")
            ),
            format=f".{known.digits}f",
        ),
        alt.Tooltip("source:N", title=words("tip.source")),
    ]
    if known.place == "implants":
        tips.insert(2, alt.Tooltip("side:N", title=words("tip.side")))
    return tips


def _caption(
    audit: AuditTables,
    known: Measure,
    rows: list[Row],
    rest: list[Block],
    place: dict[str, float],
) -> str:
    words = audit.words
    values = [row[known.name] for row in rows]
    noun = "implant" if known.place == "implants" else "pair"
    has_one_source = len({row["source"] for row in rows}) == 1
    said = words(
        "strip.caption" if has_one_source else "strip.caption_sources",
        n=words.count(noun, len(values)),
        cases=words.count("case", len(place)),
        median=words.value(known.name, median_of(values)),
        largest=words.value(known.name, max(values)),
    )
    compared = [
        (block.verdict or {}, row)
        for block in rest
        for row in rows
        if row["case"] in block.places
    ]
    above = sum(
        row[known.name] > verdict["band_high"] + verdict["floor"]
        for verdict, row in compared
    )
    if compared:
        said += " " + words("strip.above", above=words.n_of(above, len(compared)))
    return said


def _signs(audit: AuditTables) -> list[str]:
    """Return what the signs of both strips mean."""
    words = audit.words
    signs = [words("strip.key.implants"), words("strip.key.pairs")]
    if audit.counts["cases"] > len(audit.cases):
        cases = words.count("case", audit.counts["cases"])
        signs.insert(
            0, words("page.latest", shown=whole(len(audit.cases)), cases=cases)
        )
    if any(row["is_deliberate_change"] for row in audit.implants):
        signs.append(words("key.on_purpose"))
    if audit.verdicts:
        signs.append(words("strip.key.band"))
    return signs


def _key(audit: AuditTables, known: Measure, blocks: list[Block]) -> tuple[str, ...]:
    if len(blocks) > 1:
        return tuple(_block_words(audit, known, block) for block in blocks)
    verdict = blocks[0].verdict
    return () if verdict is None else (_band_words(audit, known, verdict),)


def _block_words(audit: AuditTables, known: Measure, block: Block) -> str:
    words = audit.words
    cases = words.count("case", len(block.places))
    about = (
        words("strip.key.no_set")
        if block.verdict is None
        else _band_words(audit, known, block.verdict)
    )
    return words("strip.key.block", letter=block.letter, cases=cases, about=about)


def _band_words(audit: AuditTables, known: Measure, verdict: Row) -> str:
    label, _ = set_words(audit, verdict["comparison_set"])
    band = audit.words.interval(known.name, verdict["band_low"], verdict["band_high"])
    return audit.words("strip.key.set", label=label, band=band)
