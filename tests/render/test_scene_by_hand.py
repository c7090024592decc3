"""The page of scenes turned by hand in a real browser: mouse, wheel, keys and two fingers move what is drawn."""

from __future__ import annotations

import base64
import io

import numpy as np
import pytest
from PIL import Image
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.render.scene_page import scene_page
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law
from whichsun.sim.scene import scene_panels

pytestmark = pytest.mark.slow  # software OpenGL takes its time
WIDTHS = pytest.mark.parametrize("width", [390, 1280])
SETTLED = "new Promise(done => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))"
BOX = """(() => { const box = document.querySelector('canvas').getBoundingClientRect();
  return [box.left, box.top, box.width, box.height]; })()"""
# Middles of the first scene's labels, CSS px: they go with the scene, and are kept inside its frame.
LABELS = """[...document.querySelector('.space').querySelectorAll('.label')].map(e => {
  const box = e.getBoundingClientRect(); return [box.left + box.width / 2, box.top + box.height / 2]; })"""


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    instants = Instants.from_utc(["2027-04-18T07:40:00Z", "2027-04-18T20:20:00Z"])
    models = [(get_model(name), {}) for name in ("distant-sphere", "nearby-plane")]
    words, law = ("07:40 UTC", "20:20 UTC"), rotation_law(DEFAULT_LAW)
    panels, _ = scene_panels(models, instants, words, Site(46.5, -30.0), law=law, coasts=False)
    path = tmp_path_factory.mktemp("scenes") / "scenes.html"
    path.write_text(scene_page(panels, "A day", "two moments"), encoding="utf-8")
    return path


@pytest.fixture
def scene(browser, page, request):
    """The page in a window of the test's width, its first scene drawn, and its box in the window."""
    browser.show(page, request.getfixturevalue("width"))
    browser.value(SETTLED)
    return browser, Hand(browser, *browser.value(BOX))


class Hand:
    """What a person does to the first scene; lengths in CSS px."""

    def __init__(self, browser, left, top, width, height):
        self.browser, self.middle = browser, (left + width / 2, top + height / 2)
        self.clip = {"x": left, "y": top, "width": width, "height": height, "scale": 1}

    def picture(self):
        """(rows, columns, 3) of the scene as it is shown."""
        self.browser.value(SETTLED)
        data = self.browser.ask("Page.captureScreenshot", clip=self.clip)["data"]
        return np.asarray(Image.open(io.BytesIO(base64.b64decode(data))).convert("RGB"), dtype=int)

    def mouse(self, kind, dx=0.0, dy=0.0, **more):
        x, y = self.middle
        self.browser.ask("Input.dispatchMouseEvent", type=kind, x=x + dx, y=y + dy, **more)

    def drag(self, dx, dy):
        self.mouse("mousePressed", button="left", buttons=1, clickCount=1)
        for part in (0.5, 1.0):
            self.mouse("mouseMoved", part * dx, part * dy, button="left", buttons=1)
        self.mouse("mouseReleased", dx, dy, button="left", clickCount=1)

    def fingers(self, kind, *offsets):
        points = [
            {"x": self.middle[0] + dx, "y": self.middle[1] + dy, "id": k}
            for k, (dx, dy) in enumerate(offsets)
        ]
        self.browser.ask("Input.dispatchTouchEvent", type=kind, touchPoints=points)

    def labels(self):
        """Middles of the labels (n, 2), to measure the zoom by."""
        self.browser.value(SETTLED)
        return np.array(self.browser.value(LABELS))


def changed(before, after):
    """Share of pixels that differ by more than an edge's rounding."""
    return float(np.mean(np.abs(before - after).max(axis=-1) > 8))


def no_complaint(browser):
    """Nothing said on the console, nothing thrown, nothing asked but the file itself."""
    told = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Network.loadingFailed")
    assert [e for e in browser.events if e.get("method") in told] == []
    entries = [e["params"]["entry"] for e in browser.events if e.get("method") == "Log.entryAdded"]
    # What the software OpenGL says of its own speed is no word of the page.
    assert [e for e in entries if "GL Driver Message" not in e["text"]] == []
    sent = [e for e in browser.events if e.get("method") == "Network.requestWillBeSent"]
    asked = [e["params"]["request"]["url"] for e in sent]
    assert sum(url.startswith("file:") for url in asked) == 1
    assert all(url.startswith(("file:", "data:")) for url in asked)


@WIDTHS
def test_a_drag_turns_the_scene_and_back(scene, width):
    browser, hand = scene
    start = hand.picture()
    assert len(np.unique(start.reshape(-1, 3), axis=0)) > 100  # a picture, not an empty frame
    hand.drag(90, 0)
    turned = hand.picture()
    assert changed(start, turned) > 0.02
    hand.drag(0, 60)
    tilted = hand.picture()
    assert changed(turned, tilted) > 0.02
    hand.drag(0, -60)
    hand.drag(-90, 0)
    assert changed(start, hand.picture()) < 0.002
    no_complaint(browser)


@WIDTHS
def test_the_wheel_comes_nearer_and_the_button_goes_back(scene, width):
    browser, hand = scene
    start = hand.picture()
    hand.mouse("mouseWheel", deltaX=0, deltaY=-400)
    assert changed(start, hand.picture()) > 0.05
    assert browser.value("scrollY") == 0  # the page stays where it is
    browser.value("document.querySelector('button[data-key=start]').click()")
    assert changed(start, hand.picture()) < 0.002
    no_complaint(browser)


@WIDTHS
def test_two_fingers_zoom_and_one_turns(scene, width):
    browser, hand = scene
    browser.ask("Emulation.setTouchEmulationEnabled", enabled=True, maxTouchPoints=2)
    try:
        start, labels = hand.picture(), hand.labels()
        hand.fingers("touchStart", (-40, 0), (40, 0))
        for half in (45, 50, 56):
            hand.fingers("touchMove", (-half, 0), (half, 0))
        hand.fingers("touchEnd")
        assert changed(start, hand.picture()) > 0.05
        # Fingers 1.4 times as far apart: so are the labels from the middle of the frame, where none is held back.
        far = hand.labels() - hand.middle
        near = labels - hand.middle
        free = np.all(np.abs(near) < 0.3 * np.array([hand.clip["width"], hand.clip["height"]]), axis=1)
        assert free.any()
        np.testing.assert_allclose(far[free], 1.4 * near[free], atol=1.5)
        before = hand.picture()
        hand.fingers("touchStart", (0, 0))
        hand.fingers("touchMove", (30, 0))
        hand.fingers("touchMove", (60, 0))
        hand.fingers("touchEnd")
        assert changed(before, hand.picture()) > 0.02
    finally:
        browser.ask("Emulation.setTouchEmulationEnabled", enabled=False)
    no_complaint(browser)


@WIDTHS
def test_keys_turn_the_scene_that_has_the_focus(scene, width):
    browser, hand = scene
    browser.value("document.querySelector('canvas').focus()")
    start = hand.picture()
    for kind in ("keyDown", "keyUp"):
        browser.ask("Input.dispatchKeyEvent", type=kind, key="ArrowLeft", code="ArrowLeft")
    assert changed(start, hand.picture()) > 0.005
    no_complaint(browser)
