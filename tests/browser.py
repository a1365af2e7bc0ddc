"""A real browser for the tests: Debian's chromium, without a screen."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

import pytest


def open_browser(width=1200, height=900, *, script=True, motion=True):
    """A chromium under control, or a skipped test where there is none."""
    chromium, control = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not control:
        pytest.skip("needs chromium and chromium-driver: apt-get install chromium chromium-driver")
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for argument in (
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-dev-shm-usage",
        f"--window-size={width},{height}",
        f"--user-data-dir={tempfile.mkdtemp(prefix='browser-')}",
        "--hide-scrollbars",
    ):
        options.add_argument(argument)
    if not motion:
        options.add_argument("--force-prefers-reduced-motion")
    if not script:
        options.add_experimental_option(
            "prefs", {"profile.managed_default_content_settings.javascript": 2}
        )
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(control))


def against_guidelines(browser, theme):
    """What axe-core finds against WCAG in the page that is open, all its details shown."""
    axe = Path(os.environ.get("NODE_PATH", ""), "axe-core", "axe.min.js")
    if not axe.exists():
        pytest.skip("needs the npm package axe-core (NODE_PATH); `.ci/run` installs it")
    browser.execute_script(
        "const t=document.getElementById('theme');t.value=arguments[0];"
        "t.dispatchEvent(new Event('change'));"
        "document.querySelectorAll('details').forEach(d=>d.open=true)",
        theme,
    )
    browser.set_script_timeout(120)
    browser.execute_script(axe.read_text(encoding="utf-8"))
    found = browser.execute_async_script(
        "const d=arguments[0];axe.run({runOnly:['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa',"
        "'best-practice']}).then(d)"
    )
    return [(v["id"], [n["html"][:160] for n in v["nodes"]]) for v in found["violations"]]
