"""The return to the laboratory as a browser prints it."""

import numpy as np
import pytest

from pipeline.reported.audit_tables import AuditTables
from pipeline.reported.build import write_lab_returns
from tests import audits
from tests.browser.test_clinic_page import opened, pages_of
from tests.integration.report_tables import WRITTEN_AT
from tests.integration.test_lab_return import GUIDES
from tests.integration.test_practitioner_records import PAIR, SITES, angles, site

N_CROWDED = 30


@pytest.fixture
def crowded(tmp_path):
    """A page of thirty guides, each of its own lot and read in every way."""
    rng = np.random.default_rng(5)
    casts, pairs, guides = SITES, PAIR, [GUIDES.strip()]
    for number in range(1, N_CROWDED + 1):
        name, lot = f"C{number}", f"a lot of resin with a long name, {number}"
        day = f"2025-{number % 12 + 1:02d}-{number % 27 + 1:02d}"
        guides.append(f'G{number},{name},,surgical,,{day},,A bench,"{lot}",rocks,,')
        for side in ("left", "right"):
            off = rng.normal(0, [1, 0.5]).round(1)
            casts += site(name, side, "planned", midline=8, crest=0)
            casts += site(name, side, "guide", midline=8 + off[0], crest=off[1])
        for state, spread in (("planned", 2), ("guide", 4)):
            frontal, sagittal = rng.normal(0.05, spread, 2).round(1)
            pairs += angles(name, state, frontal, sagittal)
    files = {
        "cast_readings.csv": casts,
        "pair_readings.csv": pairs,
        "guides.csv": "\n".join(guides) + "\n",
    }
    folder = audits.audit_of(tmp_path / "a", files, up_to="summarised")
    with audits.opened(folder) as audit:
        tables = AuditTables(audit, WRITTEN_AT, title="A title of the clinic's own")
        [page] = write_lab_returns(tables, tmp_path)
    return page


def test_each_return_to_a_laboratory_is_one_printed_side(browser, demo, crowded):
    paths = sorted((demo / "reports" / "lab_return").glob("*.html"))
    assert len(paths) == 3
    for path in [*paths, crowded]:
        with opened(browser, path) as (tab, complaints, requests):
            assert pages_of(tab.pdf(prefer_css_page_size=True)) == 1
            assert complaints == []
            assert requests == [path.as_uri()]
