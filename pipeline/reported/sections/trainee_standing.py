"""Where each trainee's two running scores stand, or how many cases they wait for."""

from __future__ import annotations

from itertools import groupby

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import percent
from pipeline.summarised.competence import FEWEST_JUDGED


def content(audit: AuditTables) -> Section:
    """Return one line for each trainee with judged cases, and what the limits do."""
    by_trainee = groupby(audit.competence, key=lambda row: row["trainee_code"])
    lines = [_line(audit, code, list(rows)) for code, rows in by_trainee]
    judged = {line["trainee"] for line in lines}
    lines += [
        {
            "trainee": code,
            "met": "",
            "performance": audit.words("programme.not_judged"),
            "learning": "",
        }
        for code in _with_own_cases(audit)
        if code not in judged
    ]
    lines.sort(key=lambda line: str(line["trainee"]))
    return Section({"lines": lines, "limits": limits(audit)})


def _with_own_cases(audit: AuditTables) -> list[str]:
    return [
        row["trainee_code"]
        for row in audit.trainee_exposure
        if row["setting"] == "patient" and row["count_cases"]
    ]


def _line(audit: AuditTables, code: str, rows: list[Row]) -> Row:
    charts = {name: list(own) for name, own in groupby(rows, lambda row: row["chart"])}
    judged = charts["performance"]
    met = sum(not row["has_failed"] for row in judged)
    return {
        "trainee": code,
        "met": audit.words.n_of(met, len(judged)),
        "performance": standing(audit, "performance", judged),
        "learning": standing(audit, "learning", charts.get("learning", [])),
    }


def standing(audit: AuditTables, chart: str, rows: list[Row]) -> str:
    """Say in a sentence where a score stands; too few cases say nothing."""
    words = audit.words
    if not rows:
        return words("programme.no_signal_possible")
    signals = [row["case_number"] for row in rows if row["is_signal"]]
    if signals:
        cases = ", ".join(map(str, signals))
        return words(f"programme.signal.{chart}", cases=cases)
    if len(rows) < FEWEST_JUDGED:
        more = words.count("case", FEWEST_JUDGED - len(rows))
        return words("programme.too_few", more=more)
    return words(
        f"programme.no_signal.{chart}",
        score=f"{rows[-1]['score']:.1f}",
        limit=f"{rows[-1]['limit']:.1f}",
    )


def limits(audit: AuditTables) -> list[str]:
    """Return what each limit was chosen for and what it does."""
    words = audit.words
    said = []
    for chart, row in sorted(audit.competence_limits.items(), reverse=True):
        shares = {
            "acceptable": percent(row["acceptable_share"]),
            "unacceptable": percent(row["unacceptable_share"]),
            "n": row["n_planned"],
        }
        if row["limit"] is None:
            said.append(words("programme.limit.none", needed=row["least_cases"]))
            continue
        said.append(
            words(
                f"programme.limit.{chart}",
                **shares,
                false_alarm=percent(row["false_alarm"]),
                power=percent(row["power"]),
                to_false=f"{row['cases_to_false_signal']:.0f}",
                to_signal=f"{row['cases_to_signal']:.0f}",
                in_a_row=row["least_cases"],
            )
        )
    return said
