"""The page of scenes: whole in itself, safe with any name, and drawn by a real browser without a network."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
from whichsun.models.errors import InputError
from whichsun.models.place import Instants, Site
from whichsun.models.registry import get_model
from whichsun.render.scene_page import scene_page
from whichsun.sim.rotation import DEFAULT_LAW, rotation_law
from whichsun.sim.scene import scene_panels

EVIL = "</script><img src=x onerror=alert(1)>&\"'"

# Tells the window around what became of the page: put into a copy of it, whose own policy lets only inline through.
WITNESS = """<script>
const wrong = [];
addEventListener("error", event => wrong.push(String(event.message)));
addEventListener("securitypolicyviolation", event => wrong.push(event.blockedURI));
addEventListener("load", () => {
  const drawn = [...document.querySelectorAll(".space > canvas:first-child")].map(canvas => {
    const gl = canvas.getContext("webgl2");
    return gl ? gl.getError() : "no WebGL 2";
  });
  parent.postMessage(JSON.stringify({
    wrong, drawn, frames: [...document.querySelectorAll(".space")].map(space => space.dataset.drawn),
    width: document.documentElement.scrollWidth, window: innerWidth,
    images: [...document.images].every(image => image.complete && image.naturalWidth > 0 && image.alt),
    outside: [...document.querySelectorAll("body *")].filter(element => {
      const box = element.getBoundingClientRect();
      return box.width > 1 && (box.right > innerWidth + 0.5 || box.left < -0.5);
    }).map(element => element.tagName + " " + element.className),
  }), "*");
});
</script>"""


@pytest.fixture(scope="module")
def panels():
    instants = Instants.from_utc(["2027-04-18T07:40:00Z", "2027-04-18T20:20:00Z"])
    models = [(get_model(name), {}) for name in ("distant-sphere", "nearby-plane")]
    law = rotation_law(DEFAULT_LAW)
    return scene_panels(
        models, instants, ("07:40 UTC", "20:20 UTC"), Site(46.5, -30.0), law=law, coasts=False
    )[0]


@pytest.fixture(scope="module")
def page(panels):
    return scene_page(panels, "A day", "two moments")


def test_the_page_asks_for_nothing(page):
    assert "default-src 'none'" in page
    links = re.findall(r"(?:src|href)\s*=\s*[\"']?([^\"'\s>]+)", page)
    assert links
    assert all(link.startswith("data:") for link in links)
    assert not re.search(r"https?://|@import|url\(", page)


def test_names_from_outside_stay_text(panels):
    scene = panels[0].scene
    label = replace(scene.labels[0], text=EVIL)
    evil = replace(
        panels[0],
        scene=replace(scene, model=EVIL, title=EVIL, labels=(label,), notes=(EVIL,)),
        words=(EVIL,) * 2,
        below=(EVIL,) * 2,
        summary=EVIL,
    )
    found: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag, attrs):
            found.append(tag)
            assert not any(name.startswith("on") for name, _ in attrs)

    page = scene_page([evil], EVIL, EVIL)
    Reader().feed(page)
    assert found.count("script") == 2
    assert found.count("img") == 2
    data = re.search(r'id="scenes">(.*?)</script>', page, re.DOTALL)
    assert data is not None
    assert json.loads(data[1])[0]["labels"][0]["text"] == EVIL


def test_places_reach_the_script(page, panels):
    data = re.search(r'id="scenes">(.*?)</script>', page, re.DOTALL)
    assert data is not None
    for told, panel in zip(json.loads(data[1]), panels, strict=True):
        points = np.concatenate([surface.points for surface in panel.scene.surfaces])
        places = np.frombuffer(base64.b64decode(told["places"]), "<i2").reshape(-1, 3) * told["unit"]
        np.testing.assert_allclose(places, points, atol=0.51 * told["unit"])
        triangles = np.frombuffer(base64.b64decode(told["triangles"]), "<u4")
        assert triangles.max() == len(points) - 1
        assert sum(part["count"] for part in told["parts"]) == len(triangles)
        last = told["parts"][-1]
        surface = panel.scene.surfaces[-1]
        own = triangles[last["first"] :].reshape(-1, 3)
        np.testing.assert_array_equal(points[own], surface.points[surface.triangles])


def test_a_page_needs_a_scene():
    with pytest.raises(InputError, match="panels"):
        scene_page([], "", "")


@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1280])
def test_a_browser_draws_it_without_network(page, tmp_path, width):
    program = next(
        (found for name in ("chromium", "chromium-browser") if (found := shutil.which(name))), None
    )
    if program is None:
        pytest.skip("no Chromium here (Debian: apt install chromium)")
    (tmp_path / "page.html").write_text(page.replace("<style>", WITNESS + "<style>", 1), encoding="utf-8")
    # A phone is narrower than a window may be: the page stands in a frame of that width.
    frame = (
        "<!DOCTYPE html><title>x</title><body>waiting</body><script>onmessage = event => {"
        "document.body.textContent = event.data }</script>"
        f'<iframe src="page.html" width="{width}" height="900" style="border: 0"></iframe>'
    )
    (tmp_path / "frame.html").write_text(frame, encoding="utf-8")
    command = [
        program,
        "--headless",
        "--no-sandbox",
        "--hide-scrollbars",
        "--disable-dev-shm-usage",
        "--use-gl=angle",
        "--use-angle=swiftshader",
        "--enable-unsafe-swiftshader",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        "--enable-logging=stderr",
        f"--user-data-dir={tmp_path / 'profile'}",
        "--window-size=1400,1000",
        "--virtual-time-budget=20000",
        "--dump-dom",
        (tmp_path / "frame.html").as_uri(),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=240, check=False)
    body = re.search(r"<body>(.*?)</body>", done.stdout, re.DOTALL)
    assert body is not None, done.stderr[-2000:]
    assert body[1].startswith("{"), (body[1][:200], done.stderr[-2000:])
    told = json.loads(body[1])
    assert told == {
        "wrong": [],
        "drawn": [0, 0],
        "frames": ["yes", "yes"],
        "width": width,
        "window": width,
        "images": True,
        "outside": [],
    }
    console = [line for line in done.stderr.splitlines() if "CONSOLE" in line and "source: file:" in line]
    # What the software OpenGL says of its own speed is no word of the page.
    assert [line for line in console if "GL Driver Message" not in line] == []
