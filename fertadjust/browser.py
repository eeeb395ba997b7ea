"""A page printed to PDF by the browser that stands on this computer.

The program carries no browser and fetches none. The browser gets a folder of its own for page and profile, which
goes away afterwards, and is told to stay off the network.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import tempfile
import textwrap
from enum import StrEnum
from pathlib import Path
from typing import Final

from fertadjust.errors import Fault, FertadjustError, UserError

NAMED_BY: Final = "FERTADJUST_BROWSER"
"""Environment variable that names the browser's program; it comes before every other."""

_NAMES: Final = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
)
_PLACES: Final = {
    "darwin": (
        "Google Chrome.app/Contents/MacOS/Google Chrome",
        "Chromium.app/Contents/MacOS/Chromium",
        "Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    ),
    "win32": (
        "Google/Chrome/Application/chrome.exe",
        "Chromium/Application/chrome.exe",
        "Microsoft/Edge/Application/msedge.exe",
    ),
}
"""Where browsers lie below the folders for programs, off the search path, by `sys.platform`."""

_FLAGS: Final = (
    "--headless",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-extensions",
    "--disable-sync",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--metrics-recording-only",
    "--no-default-browser-check",
    "--no-first-run",
    "--no-pings",
    "--disable-breakpad",
    "--password-store=basic",
    "--use-mock-keychain",
    "--no-pdf-header-footer",
)
_PATIENCE_S: Final = 120.0
_LAST_WORDS: Final = 8


class Paper(StrEnum):
    """Paper to print on, by the name that CSS has for it (CSS Paged Media Module Level 3, section 7.1)."""

    LETTER = "letter"
    A4 = "a4"


def find_browser() -> Path | None:
    """The browser's program: the one named by `NAMED_BY`, else the first found, else None.

    Raises:
        UserError: `NAMED_BY` names something that is not there or is no program.
    """
    named = os.environ.get(NAMED_BY, "")
    if named:
        found = shutil.which(str(Path(named).expanduser()))
        if found is None:
            message = f'"{named}" is not there or may not be run; name the program of a browser, or unset it'
            raise UserError(Fault(message, key=NAMED_BY))
        return Path(found)
    for name in (*_NAMES, *_usual_places()):
        found = shutil.which(str(name))
        if found is not None:
            return Path(found)
    return None


def browser() -> Path:
    """The browser's program.

    Raises:
        UserError: there is none, or `NAMED_BY` names something that is no program.
    """
    found = find_browser()
    if found is None:
        names = "\n".join(textwrap.wrap(f"Looked on the search path for {', '.join(_NAMES)}.", 79))
        places = "".join(f"\nLooked for {place}" for place in _usual_places())
        raise UserError(
            f"no browser was found that prints to PDF\n{names}{places}\n"
            "Open the HTML page in any browser and print it to PDF with its print dialog,\n"
            f"or name the program of a browser: {NAMED_BY}=/path/to/program"
        )
    return found


def pdf_of(html: str, paper: Paper) -> bytes:
    """A page as the browser prints it, without header and footer of the browser.

    Args:
        html: a complete, self-contained HTML text.
        paper: paper to print on.

    Raises:
        UserError: there is no browser, or it cannot be started.
        FertadjustError: the browser failed, took too long, or wrote no PDF.
        ValueError: the text has no head.
    """
    program = browser()
    with tempfile.TemporaryDirectory(prefix="fertadjust-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        page, pdf = folder / "page.html", folder / "page.pdf"
        page.write_text(_on_paper(html, paper), encoding="utf-8")
        _run(program, page, pdf, folder)
        data = pdf.read_bytes() if pdf.is_file() else b""
    if not data.startswith(b"%PDF-"):
        raise FertadjustError(
            f"the browser {program} ended without writing a PDF\n"
            "If it may not see the folder for temporary files, set TMPDIR to a folder in your\n"
            f"home folder; or name another browser by {NAMED_BY}."
        )
    return data


def _on_paper(html: str, paper: Paper) -> str:
    before, head, after = html.partition("</head>")
    if not head:
        raise ValueError("the page has no head to put the paper's size into")
    return f"{before}<style>@page {{ size: {paper}; }}</style>\n{head}{after}"


def _run(program: Path, page: Path, pdf: Path, folder: Path) -> None:
    """Print a page; the browser's own words show only when it failed."""
    arguments = [str(program), *_FLAGS, f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={pdf}"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--no-sandbox")  # the browser refuses to start as root with it
    arguments.append(page.as_uri())
    said = folder / "said.txt"
    with said.open("wb") as out:
        try:
            process = subprocess.Popen(
                arguments, stdin=subprocess.DEVNULL, stdout=out, stderr=out, start_new_session=True
            )
        except OSError as error:
            raise UserError(Fault(f"the browser cannot be started: {error.strerror}", str(program))) from None
        try:
            status = process.wait(_PATIENCE_S)
        except subprocess.TimeoutExpired:
            _end(process)
            message = f"the browser {program} was stopped: no PDF after {_PATIENCE_S:g} seconds"
            raise FertadjustError(message + _last_words(said)) from None
        except BaseException:
            _end(process)
            raise
    if status != 0:
        raise FertadjustError(f"the browser {program} failed with status {status}" + _last_words(said))


def _end(process: subprocess.Popen[bytes]) -> None:
    """End the browser with the processes that it started."""
    if hasattr(os, "killpg"):
        os.killpg(process.pid, signal.SIGKILL)
    else:
        process.kill()
    process.wait()


def _last_words(said: Path) -> str:
    lines = said.read_text(encoding="utf-8", errors="replace").splitlines()
    return "".join(f"\n  {line}" for line in lines[-_LAST_WORDS:])


def _usual_places() -> list[Path]:
    """Where a browser may stand off the search path on this system."""
    programs = ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")
    roots = {
        "darwin": [Path("/Applications"), Path.home() / "Applications"],
        "win32": [Path(root) for name in programs if (root := os.environ.get(name))],
    }
    return [root / place for place in _PLACES.get(sys.platform, ()) for root in roots[sys.platform]]
