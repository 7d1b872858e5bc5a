"""What the programme page is, of whom, and from which run."""

from __future__ import annotations

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.section import Section
from pipeline.reported.sections.header import cycle_name, run_facts


def content(audit: AuditTables) -> Section:
    """Return title, number of trainees, frozen data time, version and run.

    Cases of trainees are counted over all years, whatever the cycle: an own case keeps
    its number.
    """
    words = audit.words
    trainees = {row["trainee_code"] for row in audit.trainee_exposure}
    cases = sum(
        row["count_cases"]
        for row in audit.trainee_exposure
        if row["setting"] == "patient"
    )
    return Section(
        {
            "title": audit.title,
            "trainee": audit.trainee,
            "facts": [
                words("programme.cases", cases=words.count("case", cases)),
                words(
                    "programme.trainees", trainees=words.count("trainee", len(trainees))
                ),
                words("programme.cycle", cycle=cycle_name(audit)),
                *run_facts(audit),
            ],
        }
    )
