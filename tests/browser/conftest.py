"""Chromium of the system, axe-core, and a server of the page to plan on."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
import tarfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from orchardsim.weather.bundled import bundled_record_path

POOR_CONTRAST = """() => {
  const linear = (v) => v <= 10.0164 ? v / 255 / 12.92 : ((v / 255 + .055) / 1.055) ** 2.4;
  const light = (c) => { const [r, g, b] = c.map(linear);
                         return .2126 * r + .7152 * g + .0722 * b; };
  const numbers = (c) => c.match(/[\\d.]+/g).map(Number);
  const behind = (e) => { for (; e; e = e.parentElement) { const c = numbers(getComputedStyle(e).backgroundColor);
                          if (c.length < 4 || c[3] > 0) return c.slice(0, 3); } return [255, 255, 255]; };
  const poor = [];
  for (const e of document.querySelectorAll('body *')) {
    if (e.closest('svg') || e.disabled || !e.checkVisibility()) continue;
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const s = getComputedStyle(e), a = light(numbers(s.color).slice(0, 3)), b = light(behind(e));
    const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05), size = parseFloat(s.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(s.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) poor.push(`${e.tagName} ${ratio.toFixed(2)} ${e.textContent.slice(0, 40)}`);
  }
  return poor; }"""
"""What has too little contrast, by the luminance and ratio of WCAG 2.1, 1.4.3."""
NAMELESS = """() => [...document.querySelectorAll(
  'input, select, button, a, summary, progress, [role=img], [tabindex="0"]')]
  .filter(e => !(e.labels && e.labels.length) && !(e.getAttribute('aria-label') || e.textContent).trim())
  .map(e => e.outerHTML.slice(0, 80))"""
"""Controls and pictures without a name."""
LONG = 240_000
"""Milliseconds that a piece of work may take on a busy machine; what it took is reported, not judged."""


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium of the system."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        found = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu", "--disable-quic"]
        )
        yield found
        found.close()


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Source of axe-core 4 from the npm registry."""
    place = tmp_path_factory.mktemp("axe")
    subprocess.run(["npm", "pack", "axe-core@4"], cwd=place, check=True, capture_output=True, timeout=120)
    with tarfile.open(next(place.glob("*.tgz"))) as packed:
        held = packed.extractfile("package/axe.min.js")
        assert held is not None
        return held.read().decode()


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """Address and folder of a server of its own."""
    place = tmp_path_factory.mktemp("farm")
    shutil.copy(bundled_record_path("bundled cool"), place.parent / "my station.dly.gz")
    server, url = served(place)
    yield url, place
    server.send_signal(signal.SIGINT)
    assert server.wait(30) == 130
    assert not _left_over(server.pid), "the process that simulates outlived the server"


def served(place: Path) -> tuple[subprocess.Popen[str], str]:
    """A server of a folder, and its address."""
    words = [sys.executable, "-m", "orchardsim", "web", "--no-browser"]
    server = subprocess.Popen(words, cwd=place, stdout=subprocess.PIPE, text=True)
    assert server.stdout is not None
    return server, server.stdout.readline().strip()


def _left_over(parent: int) -> bool:
    found = subprocess.run(["ps", "-o", "pid=", "--ppid", str(parent)], capture_output=True, text=True, check=False)
    return bool(found.stdout.strip())


@pytest.fixture
def page(browser: Any, address: tuple[str, Path]) -> Iterator[Any]:
    """A page that fails the test on any console error, page error or request to elsewhere."""
    faults: list[str] = []
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.set_default_timeout(LONG)
    page.on("console", lambda one: faults.append(one.text) if one.type in ("error", "warning") else None)
    page.on("pageerror", lambda one: faults.append(str(one)))
    page.on("request", lambda one: None if one.url.startswith(address[0]) else faults.append(one.url))
    yield page
    page.close()
    assert not faults
