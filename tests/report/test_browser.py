"""Both reports in a real browser: quiet, reachable, within the width, accessible."""

import shutil
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium")
AXE = Path(__file__).parents[2] / "build/axe/node_modules/axe-core/axe.min.js"
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium"),
]


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            tmp_path_factory.mktemp("profile"), executable_path=CHROMIUM, args=ARGUMENTS
        )
        yield context
        context.close()


@pytest.fixture(scope="module")
def opened(browser, made):
    """A page with the report open, and what it asked for and complained of."""
    page = browser.new_page()
    page.asked, page.complaints = [], []
    page.on("request", lambda request: page.asked.append(request.url))
    page.on("console", lambda message: page.complaints.append(message.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.goto(made.html.as_uri())
    yield page
    page.close()


@pytest.fixture
def page(opened):
    """The open page as it first is, but for where the keyboard stands."""
    opened.set_viewport_size({"width": 1280, "height": 720})
    opened.emulate_media(media="screen", color_scheme="light")
    return opened


def test_it_asks_for_nothing_and_complains_of_nothing(page, made):
    outside = [url for url in page.asked if not url.startswith("data:")]
    assert outside == [made.html.as_uri()]
    assert page.complaints == []


def test_every_picture_is_drawn_and_has_alternative_text(page):
    images = page.evaluate(
        "[...document.images].map(i => [i.complete && i.naturalWidth > 0, i.alt.length])"
    )
    assert len(images) > 20
    assert all(drawn and length for drawn, length in images)


def test_the_page_is_no_wider_than_the_window(page):
    for width in (360, 768, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_every_link_lands_on_something_that_can_be_seen(page):
    lost = page.evaluate(
        """[...document.querySelectorAll('a[href^="#"]')]
           .map(a => a.getAttribute('href').slice(1))
           .filter(id => { const e = document.getElementById(id);
                           return !e || e.getClientRects().length === 0; })"""
    )
    assert lost == []


def test_the_first_stop_of_the_keyboard_skips_to_the_report(page):
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the report"
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#report"
    page.keyboard.press("Tab")
    assert page.evaluate("document.querySelector('main').contains(document.activeElement)")


def test_contents_are_reached_by_the_keyboard(page):
    page.goto(page.url.partition("#")[0])
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    assert page.evaluate("document.querySelector('nav').contains(document.activeElement)")


@pytest.mark.parametrize(("scheme", "width"), [("dark", 360), ("light", 1280)])
def test_axe_finds_no_violation(page, scheme, width):
    if not AXE.exists():
        pytest.skip("axe-core is not installed under build/axe")
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run({resultTypes: ['violations']})")  # one node of the others
    said = [(v["id"], v["nodes"][0]["html"][:120], len(v["nodes"])) for v in found["violations"]]
    assert said == []
    assert len(found["passes"]) > 10


def test_print_hides_the_contents_and_keeps_the_text_black(page):
    page.emulate_media(media="print", color_scheme="dark")
    assert page.evaluate("getComputedStyle(document.querySelector('nav')).display") == "none"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"


def test_on_a_telephone_every_rate_and_small_chart_is_in_sight(page, made):
    if "quarterly" not in made.html.name:
        pytest.skip("the comparison has no table of all measures")
    page.set_viewport_size({"width": 390, "height": 800})
    places = page.evaluate(
        """[...document.querySelectorAll('.measures td:nth-child(2), .panel')]
           .map(e => { const r = document.createRange(); r.selectNodeContents(e);
                       const b = r.getBoundingClientRect(); return [b.left, b.right]; })"""
    )
    assert len(places) > 40
    assert all(left >= 0 and right <= 390 for left, right in places)
    sizes = page.evaluate(
        "[...document.querySelectorAll('.measures *, .panel *')]"
        ".map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 11
