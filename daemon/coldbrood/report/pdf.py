"""A report as PDF, printed by a Chromium that is there; none is asked for and none is fetched."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Final

from coldbrood.report.span import ReportError

BROWSERS: Final = ("chromium", "chromium-browser", "google-chrome", "chrome")
PATIENCE_S: Final = 180.0


def find_browser() -> str:
    """The first browser found on the path. Raises ReportError with what to do."""
    for name in BROWSERS:
        found = shutil.which(name)
        if found is not None:
            return found
    raise ReportError(
        f"no browser to print with (looked for {', '.join(BROWSERS)}): open the HTML file in any browser "
        "and print it from there"
    )


def print_pdf(browser: str, html: Path, target: Path) -> None:
    """Print one file into another. Raises ReportError with what the browser said."""
    with tempfile.TemporaryDirectory(prefix="coldbrood-pdf-") as folder:
        made = Path(folder) / "report.pdf"
        command = [
            browser,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            "--no-pdf-header-footer",
            f"--user-data-dir={folder}/profile",
            f"--print-to-pdf={made}",
            *(["--no-sandbox"] if os.geteuid() == 0 else []),  # its sandbox does not run as root
            html.absolute().as_uri(),
        ]
        _run(command)
        if not made.is_file() or not made.read_bytes().startswith(b"%PDF-"):
            raise ReportError(f"{browser} made no PDF: open the HTML file in it and print it by hand")
        shutil.copyfile(made, target)


def _run(command: list[str]) -> None:
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise ReportError(f"{command[0]}: {error}") from error
    if done.returncode != 0:
        last = (done.stderr.strip().splitlines() or ["no word of why"])[-1]
        raise ReportError(f"{command[0]} ended with {done.returncode}: {last}")
