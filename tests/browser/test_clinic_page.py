"""The clinic review as a browser shows and prints it."""

import re
from contextlib import contextmanager

import pytest

from tests.integration import report_tables as tables_of

CASE = tables_of.code(8)


@contextmanager
def opened(browser, path, **size):
    """Open a page that is drawn, and collect what it complains of and asks for."""
    tab = browser.new_page(viewport={"width": 1280, "height": 900, **size})
    complaints, requests = [], []
    tab.on(
        "console",
        lambda said: (
            complaints.append(said.text) if said.type in ("error", "warning") else None
        ),
    )
    tab.on("pageerror", lambda error: complaints.append(str(error)))
    tab.on("request", lambda request: requests.append(request.url))
    try:
        tab.goto(path.as_uri())
        tab.wait_for_selector("html[data-drawn]", timeout=30_000)
        yield tab, complaints, requests
    finally:
        tab.close()


def pages_of(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page[^s]", pdf))


@pytest.mark.parametrize("name", ["clinic", "crowded", "three", "empty"])
def test_the_page_opens_without_complaint_and_asks_nothing(browser, page_path, name):
    with opened(browser, page_path(name)) as (_, complaints, requests):
        assert complaints == []
        assert requests == [page_path(name).as_uri()]


def test_every_chart_is_drawn_as_lines_not_as_a_picture(browser, page_path):
    with opened(browser, page_path("clinic")) as (tab, _, _):
        charts = tab.locator(".chart").count()
        assert charts >= 10
        assert tab.locator(".chart svg").count() == charts
        assert tab.locator("canvas").count() == 0
        labelled = tab.locator(".chart svg[aria-label], .chart svg [aria-label]")
        assert labelled.count() > charts


def test_the_content_policy_is_in_force(browser, page_path):
    with opened(browser, page_path("clinic")) as (tab, complaints, _):
        tab.evaluate("new Image().src = 'https://example.invalid/a.png'")
        tab.wait_for_timeout(200)
        assert any("Content Security Policy" in text for text in complaints)


def lit_cases(tab, chart):
    """Return the cases whose dots stand out in a chart."""
    return set(
        tab.evaluate(
            """chart => [...document.querySelectorAll(`#${chart} svg path[aria-roledescription="point"]`)]
            .filter(dot => Number(dot.getAttribute('opacity') ?? 1) > 0.5)
            .map(dot => dot.getAttribute('aria-label'))""",
            chart,
        )
    )


def test_clicking_a_case_lights_it_in_the_other_charts(browser, page_path):
    with opened(browser, page_path("clinic")) as (tab, _, _):
        assert len(lit_cases(tab, "pair-angles")) > 30
        dot = f'#strip-achieved-angle-deg path[aria-label="{CASE}"]'
        tab.locator(dot).first.click()
        tab.wait_for_selector(f'tr.lit[data-case="{CASE}"]', state="attached")
        for chart in ("pair-angles", "pair-planes", "strip-entry-3d-mm"):
            assert lit_cases(tab, chart) == {CASE}
        assert tab.locator("#picked-case").inner_text() == CASE
        tab.keyboard.press("Escape")
        tab.wait_for_selector("#picked", state="hidden")
        assert len(lit_cases(tab, "pair-angles")) > 30


def test_a_code_in_a_table_lights_its_case(browser, page_path):
    with opened(browser, page_path("clinic")) as (tab, _, _):
        button = tab.locator("#side-1 table.discussed button.code").first
        code = button.get_attribute("data-case")
        button.click()
        tab.wait_for_selector(f'tr.lit[data-case="{code}"]')
        assert lit_cases(tab, "pair-angles") == {code}
        assert button.inner_text().replace(" ", "") == code


@pytest.mark.parametrize("name", ["clinic", "crowded"])
def test_no_cell_of_a_printed_table_is_cut_off(browser, page_path, name):
    with opened(browser, page_path(name), width=695) as (tab, _, _):
        tab.emulate_media(media="print")
        cut = tab.evaluate(
            """() => [...document.querySelectorAll('#side-1 td, #side-1 th, #side-2 td')]
            .filter(cell => cell.scrollWidth > cell.clientWidth + 1).map(cell => cell.innerText)"""
        )
        assert cut == []


@pytest.mark.parametrize("name", ["clinic", "crowded", "three", "empty"])
def test_the_first_part_prints_on_exactly_two_sides(browser, page_path, name):
    with opened(browser, page_path(name)) as (tab, _, _):
        assert pages_of(tab.pdf(prefer_css_page_size=True)) == 2


def test_what_is_open_under_more_is_printed_after_the_two_sides(browser, page_path):
    with opened(browser, page_path("clinic")) as (tab, _, _):
        tab.evaluate("document.querySelector('#more > details').open = true")
        assert pages_of(tab.pdf(prefer_css_page_size=True)) > 2


@pytest.mark.parametrize("name", ["clinic", "crowded", "three"])
def test_a_telephone_shows_the_page_without_sideways_scrolling(
    browser, page_path, name
):
    with opened(browser, page_path(name), width=420) as (tab, _, _):
        assert tab.evaluate("document.documentElement.scrollWidth") <= 420


def test_no_text_of_the_two_sides_is_cut_off_on_a_screen(browser, page_path):
    """Tables of the first two sides fit a screen of 1280 without scrolling."""
    with opened(browser, page_path("clinic")) as (tab, _, _):
        wide = tab.evaluate(
            """() => [...document.querySelectorAll('#side-1 .scroll, #side-2 .scroll')]
            .filter(box => box.scrollWidth > box.clientWidth + 1).length"""
        )
        assert wide == 0
