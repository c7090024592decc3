"""The page in a real browser at the width of a phone and of a desk, and on paper."""

import base64

import pytest
from whichsun.sim.report.document import Document, Section, Table, Words
from whichsun.sim.report.html import html_of

# Everything whose box reaches beyond the window; a closed table of spots is opened before.
BEYOND = """[...document.querySelectorAll('body *')].filter(e => {
  const box = e.getBoundingClientRect();
  return box.width > 1 && (box.right > innerWidth + 0.5 || box.left < -0.5);
}).map(e => e.tagName + ': ' + e.textContent.slice(0, 60))"""


def complaints(browser):
    told = ("Log.entryAdded", "Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Network.loadingFailed")
    return [event for event in browser.events if event.get("method") in told]


@pytest.mark.parametrize("width", [390, 1280])
def test_the_report_fits_and_nothing_complains(browser, page, tmp_path, width):
    path = tmp_path / "report.html"
    path.write_text(page, encoding="utf-8")
    browser.show(path, width)
    browser.value("document.querySelectorAll('details').forEach(d => d.open = true)")
    assert browser.value("innerWidth") == width
    assert browser.value("document.documentElement.scrollWidth") == width
    assert browser.value(BEYOND) == []
    assert browser.value("[...document.images].every(i => i.complete && i.naturalWidth > 0 && i.alt)")
    assert browser.value("document.images.length") >= 8
    assert complaints(browser) == []
    asked = [
        e["params"]["request"]["url"]
        for e in browser.events
        if e.get("method") == "Network.requestWillBeSent"
    ]
    assert {url.split(":")[0] for url in asked} == {"file", "data"}
    assert sum(url.startswith("file:") for url in asked) == 1


@pytest.mark.parametrize("width", [390, 1280])
def test_overlong_words_break(browser, tmp_path, width):
    word = "IMG" + "x" * 200 + ".JPG"
    wide = Table([f"column {k}" for k in range(7)], [[word] * 7], "cards")
    blocks = [Words(word), wide, Table(["file", "SHA-256"], [[word, "0f" * 32]])]
    path = tmp_path / "long.html"
    path.write_text(html_of(Document(word, [word], [Section("a", word, blocks)])), encoding="utf-8")
    browser.show(path, width)
    assert browser.value(BEYOND) == []


def test_the_overflow_check_sees_an_overflow(browser, tmp_path):
    path = tmp_path / "wide.html"
    path.write_text("<!DOCTYPE html><body><p style='width: 2000px'>too wide</p>", encoding="utf-8")
    browser.show(path, 1280)
    assert browser.value(BEYOND) == ["P: too wide"]


def test_on_paper_pages_are_a4_and_black_on_white(browser, page, tmp_path):
    path = tmp_path / "report.html"
    path.write_text(page, encoding="utf-8")
    browser.show(path, 1280)
    answer = browser.ask("Page.printToPDF", preferCSSPageSize=True, printBackground=True)
    pdf = base64.b64decode(answer["data"])
    assert pdf.startswith(b"%PDF")
    # A4 in points, ISO 216: 210 mm by 297 mm, to Chromium's whole pixels of 0.75 points.
    assert b"/MediaBox [0 0 594.95996 841.91998]" in pdf or b"/MediaBox [0 0 595" in pdf
    browser.ask("Emulation.setEmulatedMedia", media="print")
    assert browser.value("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert browser.value("getComputedStyle(document.querySelector('nav')).display") == "none"
    browser.ask("Emulation.setEmulatedMedia", media="")
