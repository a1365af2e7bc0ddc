"""A real browser for the tests: Debian's chromium, without a screen."""

from __future__ import annotations

import shutil
import tempfile

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
