"""The shell of every page: one file that asks nothing of the network.

Style, script, the chart library and the data stand inside the page. A content security
policy forbids the rest. Data go in once per table, by columns, as JSON in which no
``<`` is left, so that text of a record can never end a script.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from importlib.metadata import version
from pathlib import Path
from typing import Any

import jinja2

from pipeline.bundled import folder
from pipeline.reported.charts import Figure, Rows
from pipeline.reported.printed import on_page
from pipeline.reported.wording import Words, code_in_groups

CHART_LANGUAGE = "6.4"
"""The version of the chart language the bundle is made for."""

EDITOR_ADDRESS = "https://vega.github.io/editor/"
"""An outside page the library can open from a menu that is never shown here."""

CONTENT_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline';"
    " img-src data:; base-uri 'none'; form-action 'none'"
)


def environment(*folders: Path, words: Words) -> jinja2.Environment:
    """Return templates that escape all they print and stop at a missing name."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader([*folders, folder("reports") / "page"]),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["w"] = words
    made.filters["groups"] = code_in_groups
    made.filters["cell"] = partial(on_page, words)
    return made


@dataclass(frozen=True)
class Body:
    """What stands on a page.

    Attributes:
        title: of the window.
        first: HTML of the first printed side.
        second: HTML of the second printed side.
        more: HTML of what is folded away.
        figures: all charts on the page.
        tables: the rows they read, by name.
        footer: printed at the foot of each paper side.
    """

    title: str
    first: str
    second: str
    more: str
    figures: Sequence[Figure]
    tables: Mapping[str, Rows]
    footer: str


def page(templates: jinja2.Environment, body: Body, cache_folder: Path | None) -> str:
    """Return a whole page.

    Args:
        templates: from `environment`.
        body: what stands on it; its HTML was made by templates that escape.
        cache_folder: where the chart library is kept between runs; the user's own
            cache when None.
    """
    reports = folder("reports") / "page"
    needed = sorted({name for figure in body.figures for name in figure.tables})
    return templates.get_template("page.html.jinja").render(
        body=body,
        policy=CONTENT_POLICY,
        style=_text(reports / "page.css"),
        print_footer=json.dumps(body.footer, ensure_ascii=False),
        library=chart_library(cache_folder) if body.figures else "",
        script=_text(reports / "page.js"),
        tables=as_json({name: by_column(body.tables[name]) for name in needed}),
        specs=as_json(
            {
                figure.name: {"spec": figure.spec, "tables": figure.tables}
                for figure in body.figures
            }
        ),
    )


def _text(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def by_column(rows: Rows) -> dict[str, list[Any]]:
    """Turn rows into columns, which are shorter on the page."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    return {name: [row.get(name) for row in rows] for name in names}


def as_json(content: object) -> str:
    """Return JSON that can stand inside a script element, whatever text it holds."""
    text = json.dumps(
        content, ensure_ascii=False, allow_nan=False, separators=(",", ":")
    )
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


@cache
def chart_library(cache_folder: Path | None = None) -> str:
    """Return the chart library as one script, made once and kept.

    A kept copy is used only when it still has the hash it was written with.
    """
    if cache_folder is None:
        from platformdirs import user_cache_path

        cache_folder = user_cache_path("plumbpost", appauthor=False)
    made_by = version("vl-convert-python")
    path = cache_folder / f"charts-{CHART_LANGUAGE}-{made_by}.js"
    kept = _kept(path)
    if kept is not None:
        return kept
    import vl_convert

    script = vl_convert.javascript_bundle("window.vegaEmbed=vegaEmbed;", CHART_LANGUAGE)
    script = script.replace(EDITOR_ADDRESS, "about:blank")
    if "</script" in script or "<!--" in script:
        raise RuntimeError("the chart library cannot stand inside a page")
    _keep(path, script)
    return script


def _kept(path: Path) -> str | None:
    try:
        first, _, script = path.read_bytes().decode().partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    digest = hashlib.sha256(script.encode()).hexdigest()
    return script if first == f"// {digest}" else None


def _keep(path: Path, script: str) -> None:
    """Write the script beside its hash; without a place to write it is made again."""
    digest = hashlib.sha256(script.encode()).hexdigest()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
            stream.write(f"// {digest}\n{script}")
        Path(name).replace(path)
    except OSError:
        return
