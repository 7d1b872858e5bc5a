"""Apply a layout to a few lines of text, without an audit."""

from pipeline.records.file_read import FileRead
from pipeline.records.laid_out import Applied, lay_out
from pipeline.records.layout_fit import Fit, NoFit, look
from pipeline.records.layouts import layout_of
from pipeline.records.text_encoding import decoded
from pipeline.records.text_files import sheet_of_text

READY = """
needs = ["Case", "Site"]
{top}
[[rows]]
sheet = "deviations"
[rows.fields]
case_id = "Case"
{fields}
"""


def ready_layout(fields: str, top: str = "") -> str:
    """Return a layout for ready-made figures with these lines in it."""
    if not any(name in fields for name in ("tooth", "side")):
        fields += '\ntooth = "Site"'
    return READY.format(top=top, fields=fields)


def read(text: str) -> FileRead:
    sheet = sheet_of_text(decoded(text.encode(), name="a.csv"), name="a.csv")
    return FileRead("csv", None, (sheet,))


def fitted(text: str, layout: str, *, source: str = "a.csv") -> Fit | NoFit:
    file = read(text)
    made = layout_of(layout.encode(), name="theirs")
    return look(made, file, file.sheets[0], source=source)


def applied(text: str, layout: str) -> Applied:
    fit = fitted(text, layout)
    assert isinstance(fit, Fit), fit
    return lay_out(fit, source="a.csv")


def column(done: Applied, field: str, sheet: str = "") -> list[str]:
    """Return one field of what came out."""
    one = next(s for s in done.sheets if sheet in {"", s.incoming.sheet})
    return one.incoming.rows[field].tolist()
