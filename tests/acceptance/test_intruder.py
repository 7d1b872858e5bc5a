"""An intruder who knows one case well looks for it in the export.

What he knows: the practice's number of the case, the day of the surgery, the names of
the operator and the laboratory, the number of the guide, the lengths of the implants,
what was written in free text; and, from a leaked audit, the audit's own codes.
"""

import json
import re
import zipfile
from datetime import date, timedelta

import duckdb
import numpy as np
import pytest

from pipeline.sharing.columns import exported
from tests.audits import COORDINATES, audit_of, invoke, opened, records_of

KNOWN_DAY = date(2023, 2, 17)
KNOWN = {
    "number": "PX-48151",
    "person": "PT-90377",
    "operator": "Quillfeather",
    "helper": "Brambleworth",
    "lab": "Saltmarsh Works",
    "guide": "GD-7719",
    "grade": "the yellowish one",
    "note": "wearer plays the bassoon",
    "version": "plan-of-tuesday",
    "examiner": "Thistlewick",
    "lengths": (11.37, 12.63),
}


CASES_HEAD = (
    "case_id,patient_id,surgery_date,operator,supervisor,operator_level,guide_id,"
    "guide_lab,guide_method,guide_support,guidance,attachment,insert_grade,"
    "plan_version,delivery_date"
)
IMPLANTS_HEAD = (
    f"case_id,side,{','.join(COORDINATES)},achieved_frame,achieved_source,"
    "planned_length_mm,placed_length_mm,examiner,measured_date"
)


def practice():
    """Return the sheets of twelve cases; the first is the one the intruder knows."""
    dice = np.random.default_rng(48151)
    cases, implants, dentures, visits, events = [], [], [], [], []
    for n in range(12):
        is_known = n == 0
        number = KNOWN["number"] if is_known else f"PX-{41000 + 37 * n}"
        day = KNOWN_DAY + timedelta(days=int(dice.integers(9, 400)) * (n > 0))
        operator = KNOWN["operator"] if is_known else f"Hand{n % 4}"
        lab = KNOWN["lab"] if is_known else "Reed and Rush"
        guide = KNOWN["guide"] if is_known else f"GD-{n}"
        delivery = day + timedelta(days=int(dice.integers(60, 120)))
        cases.append(
            f"{number},{KNOWN['person'] if is_known else f'PT-{n}'},{day},{operator},"
            f"{KNOWN['helper']},resident,{guide},{lab},printed,mucosa,full,stud,"
            f"{KNOWN['grade']},{KNOWN['version']},{delivery}"
        )
        for side, sign, length in zip(
            ("left", "right"), (1, -1), KNOWN["lengths"], strict=True
        ):
            points = [sign * 9, -30, 0, sign * 9, -30, -length]
            points += [round(p + float(dice.normal(0, 0.6)), 3) for p in points]
            implants.append(
                f"{number},{side},{','.join(map(str, points))},plan,cbct,"
                f"{length},{length},{KNOWN['examiner']},{day + timedelta(days=30)}"
            )
        dentures.append(f"{number},1,{delivery},stud,{KNOWN['grade']}")
        for months in (6, 12):
            seen = delivery + timedelta(days=30 * months + int(dice.integers(20)))
            visits.append(f"{number},{seen},yes,yes,{dice.integers(11, 40)}")
            events.append(f"{number},{seen},nothing_needed,{KNOWN['note']}")
    return {
        "cases.csv": "\n".join(
            [
                CASES_HEAD,
                *cases,
            ]
        ),
        "implants.csv": "\n".join(
            [
                IMPLANTS_HEAD,
                *implants,
            ]
        ),
        "dentures.csv": "\n".join(
            ["case_id,denture_no,delivery_date,attachment,insert_grade", *dentures]
        ),
        "visits.csv": "\n".join(
            ["case_id,visit_date,planned_visit,attended,minutes", *visits]
        ),
        "events.csv": "\n".join(["case_id,event_date,event,note", *events]),
    }


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """What the intruder has: the audit's codes, and the export as he opens it."""
    place = tmp_path_factory.mktemp("intruder")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PLUMBPOST_HOME", str(place / "keys"))
        folder = audit_of(place / "audit", practice(), up_to="summarised")
        yield folder, place


@pytest.fixture
def export(found, capsys):
    folder, place = found
    to = place / "out"
    if not to.exists():
        assert invoke(capsys, "export", folder, to)[0] == 0
    return to


@pytest.fixture
def totals(found, capsys):
    """The totals of the same audit."""
    folder, place = found
    to = place / "totals"
    if not to.exists():
        assert invoke(capsys, "export", folder, to, "--totals")[0] == 0
    return to


def cells(export):
    """Yield (where, cell) of every cell of every table, from both kinds of file."""
    for table in exported():
        for read in (
            f"read_csv('{export}/csv/{table}.csv', all_varchar = true)",
            f"'{export}/parquet/{table}.parquet'",
        ):
            rows = duckdb.sql(f"select columns(*)::varchar from {read}")
            for row in rows.fetchall():
                for name, cell in zip(rows.columns, row, strict=True):
                    yield f"{table}.{name}", cell


def texts(export):
    """Yield (where, text) of all that can be read: cells, papers, names of files."""
    yield from cells(export)
    for path in export.rglob("*"):
        yield "name of a file", path.relative_to(export).as_posix()
        if path.suffix in {".md", ".json", ".csv"}:
            yield path.name, path.read_text(encoding="utf-8")
        if path.suffix == ".parquet":
            for what in ("kv_metadata", "file_metadata", "schema", "metadata"):
                for row in duckdb.sql(
                    f"select * from parquet_{what}('{path}')"
                ).fetchall():
                    told = repr(row).replace(str(path), "")
                    yield f"{path.name}, {what}", told


def test_the_records_do_hold_what_the_intruder_knows(found):
    # or nothing below would mean anything
    with records_of(found[0]) as records:
        assert records.value(
            "select count(*) from events where note = $note", {"note": KNOWN["note"]}
        )
        assert records.value(
            "select count(*) from cases where surgery_date = $day",
            {"day": str(KNOWN_DAY)},
        )
    with opened(found[0]) as audit:
        assert audit.value(
            """select count(*) from measured.pairs as p
            inner join measured.cases as c on p.case_key = c.case_key
            where c.surgery_date = $day""",
            {"day": KNOWN_DAY},
        )


def test_no_name_number_or_word_the_intruder_knows_is_anywhere(export):
    known = [word.lower() for word in KNOWN.values() if isinstance(word, str)]
    known += [word for text in known for word in text.split() if len(word) > 6]
    for where, text in texts(export):
        for word in known:
            assert word not in (text or "").lower(), (where, word)


def test_no_day_is_anywhere_neither_his_nor_any(export):
    a_day = re.compile(
        r"\b(19|20)\d\d[-./]?\d\d[-./]?\d\d\b|\b\d\d?[./]\d\d?[./](19|20)\d\d\b"
    )
    for where, text in texts(export):
        if where != "manifest.json":  # full of hashes; looked at below
            assert not a_day.search(text or ""), (where, text)
    manifest = json.loads((export / "manifest.json").read_text(encoding="utf-8"))
    del manifest["files"], manifest["conventions"]["definitions"]
    assert not a_day.search(json.dumps(manifest))
    for table in exported():
        kinds = duckdb.sql(f"from '{export}/parquet/{table}.parquet'").types
        assert not any("DATE" in str(k) or "TIME" in str(k) for k in kinds)


def test_no_cell_equals_the_length_of_an_implant_or_the_day_in_any_writing(export):
    for where, cell in cells(export):
        for length in KNOWN["lengths"]:
            assert cell != str(length), where
        assert cell not in {
            str(KNOWN_DAY),
            KNOWN_DAY.strftime("%Y%m%d"),
            str(KNOWN_DAY.toordinal()),
            str((KNOWN_DAY - date(1970, 1, 1)).days),
            str((KNOWN_DAY - date(1899, 12, 30)).days),
        }, where


def test_no_code_of_the_audit_is_anywhere(found, export):
    with records_of(found[0]) as records:
        columns = records.run(
            """select table_name, column_name from information_schema.columns
            where table_name in ('cases', 'implants', 'dentures', 'visits', 'events')
                and data_type = 'VARCHAR'"""
        )
        codes = {
            value
            for table, column in columns
            for (value,) in records.run(f'select distinct "{column}" from {table}')
            if value and re.fullmatch("[a-z2-7]{12}", value)
        }
    assert len(codes) > 12 + 12 + 4 + 12
    for where, text in texts(export):
        for code in codes:
            assert code not in (text or ""), where


def test_the_known_case_does_not_stand_where_it_stood_in_the_sheets(found, capsys):
    # twelve cases: by chance first in one of twelve exports, so not in all of six
    folder, place = found
    firsts = set()
    for n in range(6):
        to = place / f"again{n}"
        assert invoke(capsys, "export", folder, to)[0] == 0
        found_rows = duckdb.sql(
            f"select entry_3d_mm from '{to}/parquet/implants.parquet'"
        ).fetchall()
        firsts.add(found_rows[0])
    assert len(firsts) > 1


def test_totals_name_nobody_either_and_hold_no_line_of_fewer_than_five(found, totals):
    said = "\n".join(
        path.read_text(encoding="utf-8").lower() for path in totals.iterdir()
    )
    for word in KNOWN.values():
        if isinstance(word, str):
            assert word.lower() not in said
    assert str(KNOWN_DAY) not in said
    with opened(found[0]) as audit:
        keys = audit.run(
            "select case_key from measured.cases union select patient_key from measured.cases"
        )
    assert not any(key in said for (key,) in keys)
    lines = duckdb.sql(f"select n_patients from read_csv('{totals}/totals.csv')")
    assert min(n for (n,) in lines.fetchall()) >= 5


def test_no_archive_lies_in_the_export_whose_entries_would_have_a_day(export):
    assert not any(zipfile.is_zipfile(p) for p in export.rglob("*") if p.is_file())
