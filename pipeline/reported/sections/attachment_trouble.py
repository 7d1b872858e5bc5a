"""Attachment trouble on the second side: rate, chair time, overdue recalls as a number."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.table_reader import Row
from pipeline.reported.wording import Words, number

GROUP, EVERY_KIND = "attachment", "all"


def content(audit: AuditTables) -> Section | None:
    """Return one paragraph; nothing where no denture was ever watched."""
    words = audit.words
    whole = audit.event_rates.get((GROUP, EVERY_KIND, "all"))
    if whole is None or not whole["exposure_years"]:
        return None
    clauses = [_rate(audit, "0-12", "trouble.first")]
    clauses.append(_rate(audit, "12-60", "trouble.later"))
    said = [clause for clause in clauses if clause]
    if len(said) == 1 and clauses[0]:
        said.append(words("trouble.nobody_later"))
    sentences = [
        words(
            "trouble.from",
            dentures=words.count("denture", whole["count_dentures"]),
            years=number(whole["exposure_years"], 0),
        ),
        *_chair(audit),
        *_overdue(audit),
    ]
    return Section({"rates": "; ".join(said), "rest": " ".join(sentences)})


def _rate(audit: AuditTables, period: str, key: str) -> str:
    row = audit.event_rates.get((GROUP, EVERY_KIND, period))
    if row is None or row["rate_per_100"] is None:
        return ""
    return audit.words(
        key, rate=number(row["rate_per_100"], 0), interval=interval(audit.words, row)
    )


def interval(words: Words, row: Row) -> str:
    """Return the interval of a rate in brackets, or that there is none."""
    if row["rate_high"] is None:
        return words("trouble.no_interval")
    low, high = (number(row[name], 0) for name in ("rate_low", "rate_high"))
    return words("trouble.interval", low=low, high=high)


def _chair(audit: AuditTables) -> list[str]:
    row = audit.chair_time.get(EVERY_KIND)
    if row is None or row["minutes_per_year"] is None:
        return []
    return [audit.words("trouble.chair", minutes=number(row["minutes_per_year"], 0))]


def _overdue(audit: AuditTables) -> list[str]:
    recalls = audit.recalls
    if not recalls.get("count_in_use"):
        return []
    words = audit.words
    n = words.n_of(recalls["count_overdue"], recalls["count_in_use"])
    return [words("trouble.overdue", n=n)]
