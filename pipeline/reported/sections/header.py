"""What this page is, of which cases and from which run."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section


def content(audit: AuditTables) -> Section:
    """Return title, cycle, frozen data time, version and run."""
    words = audit.words
    frozen, version = run_facts(audit)
    first, last = audit.counts["first_day"], audit.counts["last_day"]
    facts = [
        ("cycle", cycle_name(audit)),
        ("frozen", frozen),
        ("version", version),
    ]
    if first is not None:
        operated = words("header.from_to", first=words.day(first), last=words.day(last))
        facts.insert(1, ("operated", operated))
    return Section(
        {
            "title": audit.title or words("header.title"),
            "facts": [(words(f"header.fact.{key}"), value) for key, value in facts],
            "is_titled": bool(audit.title),
        }
    )


def cycle_name(audit: AuditTables) -> str:
    """Return the name of the cycle, with its days where it has any."""
    run, words = audit.run, audit.words
    if run["cycle_from"] is None or run["cycle_to"] is None:
        return words.code("cycle", run["cycle"])
    days = words(
        "header.from_to",
        first=words.day(run["cycle_from"]),
        last=words.day(run["cycle_to"]),
    )
    return f"{run['cycle']} ({days})"


def run_facts(audit: AuditTables) -> list[str]:
    """Return when the data were frozen, the version and the run, in words."""
    run, words = audit.run, audit.words
    return [
        words("header.moment_utc", moment=words.moment(run["run_at"])),
        words(
            "header.version_and_run",
            version=run["version"],
            run=str(run["run_id"])[:8],
        ),
    ]
