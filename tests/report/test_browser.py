"""The pages in a real browser: Chromium, headless, by its own WebDriver (W3C WebDriver, 2018)."""

from __future__ import annotations

import base64
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from tests.support.colour import contrast
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.report.class_page import class_html
from trainer.report.class_report import Student
from trainer.report.drill_sheet import drill_sheet_html
from trainer.report.losses import Loss
from trainer.report.staff import engrave
from trainer.report.student_page import StudentReport, student_html

pytestmark = pytest.mark.needs_chromium

FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--autoplay-policy=no-user-gesture-required",
    "--mute-audio",
)
CLASS = (
    Student("Jorun", 71.0, False, 2, (Loss("pitch", "-4'", 9.0),), {0: 80.0, 1: 55.0}),
    Student("Marit", 93.0, True, 1, (), {0: 99.0, 1: 90.0}),
    Student("Odger <3", trouble="it is no recording"),
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    program, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not program or not driver:
        pytest.skip("needs chromium and chromedriver")
    options = webdriver.ChromeOptions()
    options.binary_location = program
    with tempfile.TemporaryDirectory(prefix="chromium-") as folder:
        for flag in (*FLAGS, f"--user-data-dir={folder}"):
            options.add_argument(flag)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        opened = webdriver.Chrome(options, webdriver.ChromeService(driver))
        yield opened
        opened.quit()


@pytest.fixture(params=["report", "class", "sheet", "staff"])
def page(request: pytest.FixtureRequest, student_report: StudentReport, tmp_path: Path) -> Path:
    made = {
        "report": lambda: student_html(student_report),
        "class": lambda: class_html(student_report.result.drill, CLASS),
        "sheet": lambda: drill_sheet_html(find_drill("two-at-the-rail")),
        "staff": staff_sheet,
    }[request.param]()
    path = tmp_path / f"{request.param}.html"
    path.write_text(made, encoding="utf-8")
    return path


def staff_sheet() -> str:
    pytest.importorskip("verovio")
    drill = find_drill("hauled-aboard")
    return drill_sheet_html(drill, staff=engrave(drill, Harp.of(drill.key, drill.tuning)))


def open_(browser: Any, page: Path, scheme: str = "light") -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": features})
    browser.get(page.as_uri())


def colour(text: str) -> str:
    numbers = text[text.index("(") + 1 : -1].split(",")[:3]
    return "#" + "".join(f"{int(float(number)):02x}" for number in numbers)


def test_it_opens_from_disk_without_a_word_on_the_console(browser: Any, page: Path) -> None:
    open_(browser, page)
    assert browser.find_element(By.TAG_NAME, "h1").text
    assert browser.get_log("browser") == []
    asked = browser.execute_script("return performance.getEntriesByType('resource').map(r=>r.name)")
    assert [url for url in asked if not url.startswith("data:")] == []


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_all_words_can_be_read_in_both_schemes(browser: Any, page: Path, scheme: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1."""
    open_(browser, page, scheme)
    ground = colour(
        browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    )
    assert (int(ground[1:3], 16) < 128) == (scheme == "dark")
    inks = browser.execute_script(
        "return [...new Set([...document.querySelectorAll('body *')].filter(e => "
        "[...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && e.tagName !== 'SCRIPT' "
        "&& e.tagName !== 'BUTTON').map(e => e.namespaceURI.endsWith('svg') ? "
        "getComputedStyle(e).fill : getComputedStyle(e).color))]"
    )
    assert inks
    for ink in inks:
        assert contrast(colour(ink), ground) >= 4.5, ink


def test_it_can_load_nothing_from_elsewhere(browser: Any, page: Path) -> None:
    """By a Content-Security-Policy (W3C, level 3), should markup ever get into a page."""
    if page.stem in ("sheet", "staff"):
        return  # it has no script
    open_(browser, page)
    browser.execute_script(
        "const i = new Image(); i.src = 'http://127.0.0.1:9/x.png'; document.body.append(i)"
    )
    WebDriverWait(browser, 10).until(
        lambda _: any("Content Security Policy" in m["message"] for m in browser.get_log("browser"))
    )


def test_it_prints(browser: Any, page: Path) -> None:
    open_(browser, page)
    pdf = base64.b64decode(browser.print_page())
    assert pdf.startswith(b"%PDF-")
    assert len(pdf) > 5000


def test_a_phone_shows_it_without_scrolling_sideways(browser: Any, page: Path) -> None:
    """Nothing is wider than a phone of 390 pixels, and no part of the page has a scroll bar."""
    phone = {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", phone)
    open_(browser, page)
    width = browser.execute_script("return document.documentElement.scrollWidth")
    scrolled = browser.execute_script(
        "return [...document.querySelectorAll('body *')].filter(e => !e.closest('svg, details, "
        "audio') && e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX !== "
        "'visible' && getComputedStyle(e).textOverflow !== 'ellipsis').map(e => e.outerHTML)"
    )
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert width <= 390
    assert scrolled == []


def test_a_step_is_heard_by_the_keyboard_alone(
    browser: Any,
    student_report: StudentReport,
    tmp_path: Path,
) -> None:
    path = tmp_path / "report.html"
    path.write_text(student_html(student_report), encoding="utf-8")
    open_(browser, path)
    body = browser.find_element(By.TAG_NAME, "body")
    first = browser.find_elements(By.CSS_SELECTOR, "button[data-from]")[0]
    for _ in range(20):
        body.send_keys(Keys.TAB)
        focused = browser.switch_to.active_element
        if focused == first:
            break
        body = focused
    assert browser.switch_to.active_element == first
    assert str(first.get_attribute("aria-label")).startswith("Hear an example: ")
    state = "const s = document.getElementById('sound'); return [s.currentTime, s.paused]"
    start, end = (float(str(first.get_attribute(name))) for name in ("data-from", "data-to"))
    first.send_keys(Keys.ENTER)
    WebDriverWait(browser, 10).until(
        lambda _: (lambda at, still: start <= at <= end and not still)(
            *browser.execute_script(state)
        )
    )
    x = "return Number(document.getElementById('cursor').getAttribute('x1'))"
    began = browser.execute_script(x)
    assert began > 0.0
    WebDriverWait(browser, 20).until(lambda _: browser.execute_script(state)[1])
    assert browser.execute_script(x) > began
    assert browser.execute_script(state)[0] == pytest.approx(end, abs=0.6)
    assert browser.get_log("browser") == []


def test_a_link_from_the_tab_opens_its_step(
    browser: Any, student_report: StudentReport, tmp_path: Path
) -> None:
    path = tmp_path / "report.html"
    path.write_text(student_html(student_report), encoding="utf-8")
    open_(browser, path)
    (link, *_) = browser.find_elements(By.CSS_SELECTOR, "a.mark.top")
    step = browser.find_element(By.CSS_SELECTOR, str(link.get_dom_attribute("href")))
    assert step.get_dom_attribute("open") is None
    link.click()
    WebDriverWait(browser, 10).until(lambda _: step.get_dom_attribute("open") is not None)
