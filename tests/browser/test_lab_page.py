"""The return to the laboratory as a browser prints it."""

from tests.browser.test_clinic_page import opened, pages_of


def test_each_return_to_a_laboratory_is_one_printed_side(browser, demo):
    paths = sorted((demo / "reports" / "lab_return").glob("*.html"))
    assert paths
    for path in paths:
        with opened(browser, path) as (tab, complaints, requests):
            assert pages_of(tab.pdf(prefer_css_page_size=True)) == 1
            assert complaints == []
            assert requests == [path.as_uri()]
