"""The graph of tables: found in the SQL, one way, in order."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from pipeline import stages
from pipeline.tables import APART, STATES, Table, in_order, sql_files
from pipeline.warehouse import NotOneSelect, Warehouse

TABLES = stages.known_tables()
ROOT = Path(__file__).parents[2] / "pipeline"

ORDER = [
    ("errors",),
    ("versions",),
    ("bundled", "reference"),
    ("warehouse",),
    ("tables",),
    ("keys",),
    ("own_limits",),
    ("settings",),
    ("audit",),
    ("geometry", "statistics"),
    ("records",),
    ("staged",),
    ("checked",),
    ("measured",),
    ("summarised",),
    ("reported",),
    ("stages",),
    ("frozen", "own_files"),
    ("sharing",),
    ("running", "showing", "deciding"),
    ("opened",),
    ("commands",),
    ("__main__",),
]
"""Imports go one way: a module may import what stands before it, and its own."""


@pytest.mark.parametrize("name", sorted(TABLES))
def test_no_table_reads_a_later_state(name):
    table = TABLES[name]
    allowed = {*STATES[: STATES.index(table.state) + 1], *APART}
    assert {read.partition(".")[0] for read in table.reads} <= allowed


@pytest.mark.parametrize("name", sorted(TABLES))
def test_every_table_that_is_read_is_made_by_somebody(name):
    made = set(TABLES) | {n for t in TABLES.values() for n in t.also_makes}
    reads = {r for r in TABLES[name].reads if not r.startswith(("records.", *APART))}
    assert reads <= made


def test_the_contents_page_lists_every_table_after_what_it_reads():
    seen = set()
    for name, reads in stages.contents():
        for read in reads.split(", "):
            assert read not in TABLES or read in seen, (name, read)
        seen.add(name)
    assert seen == set(TABLES)


def test_tables_that_read_each_other_are_named():
    import graphlib

    circle = {
        "staged.a": Table("staged.a", frozenset({"staged.b"})),
        "staged.b": Table("staged.b", frozenset({"staged.a"})),
    }
    with pytest.raises(graphlib.CycleError, match=r"staged\.a"):
        list(in_order(circle))


@pytest.mark.parametrize(
    "text",
    ["insert into t values (1)", "select 1; select 2", "create table x as select 1"],
)
def test_anything_but_one_bare_select_is_refused(text):
    with Warehouse() as parser, pytest.raises(NotOneSelect):
        parser.tables_read(text)


@pytest.mark.parametrize("path", sql_files("macros"), ids=lambda p: p.stem)
def test_a_macro_file_holds_the_macro_of_its_name(path):
    assert f"macro {path.stem}(" in path.read_text(encoding="utf-8")


def part_of(module: str) -> int | None:
    name = module.split(".")[1] if "." in module else ""
    return next((i for i, level in enumerate(ORDER) if name in level), None)


@pytest.mark.parametrize(
    "path", sorted(ROOT.rglob("*.py")), ids=lambda p: p.relative_to(ROOT).as_posix()
)
def test_imports_go_one_way(path):
    own = part_of(".".join(["pipeline", *path.relative_to(ROOT).with_suffix("").parts]))
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(
            "pipeline"
        ):
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            modules = names if node.module == "pipeline" else [node.module]
            for module in modules:
                other = part_of(module)
                assert other is None or own is None or other <= own, module


@pytest.mark.parametrize("path", sorted(ROOT.rglob("*.py")), ids=lambda p: p.stem)
def test_only_the_warehouse_touches_duckdb(path):
    text = path.read_text(encoding="utf-8")
    assert path.stem == "warehouse" or "import duckdb" not in text


HEAVY = ("pandas", "scipy", "altair", "great_expectations", "statsmodels", "openpyxl")


@pytest.mark.parametrize(
    "words", [["--help"], ["definitions", "angle_deg"], ["show", "nowhere", "a.b"]]
)
def test_small_commands_import_nothing_heavy(words):
    code = (
        "import sys; from pipeline.__main__ import main\n"
        f"sys.argv = ['plumbpost', *{words!r}]\n"
        "try:\n    main()\nexcept SystemExit:\n    pass\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stderr.strip().splitlines()[-1] == "[]"
