"""The page printed to PDF by a chromium on this computer: no other program prints it as well."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from models.fault import Fault, InputError

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
WAIT_S = 120


def find_browser() -> str:
    """The path of a browser that prints. Raises InputError where there is none."""
    for name in BROWSERS:
        found = shutil.which(name)
        if found:
            return found
    what = "no chromium was found to print with"
    remedy = "Install chromium, or open plan.html in any browser and print it."
    raise InputError([Fault("--pdf", 0, 0, what, "", remedy)])


def print_pdf(html: str) -> bytes:
    """The PDF of a page."""
    browser = find_browser()
    with tempfile.TemporaryDirectory(prefix="ringwright-") as folder:
        page, target = Path(folder, "plan.html"), Path(folder, "plan.pdf")
        page.write_text(html, encoding="utf-8")
        command = [
            browser,
            "--headless=new",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--no-first-run",
            f"--user-data-dir={folder}/profile",
            "--no-pdf-header-footer",
            f"--print-to-pdf={target}",
            page.as_uri(),
        ]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            command.insert(1, "--no-sandbox")
        try:
            done = subprocess.run(command, capture_output=True, timeout=WAIT_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise InputError([_failed(browser, str(error))]) from error
        if not target.exists():
            raise InputError([_failed(browser, done.stderr.decode("utf-8", "replace")[-300:])])
        return target.read_bytes()


def _failed(browser: str, why: str) -> Fault:
    remedy = "Open plan.html in a browser and print it."
    return Fault(browser, 0, 0, "the browser did not print the page", why.strip(), remedy)
