"""Pages printed to PDF by a Chromium browser, and what is on their sheets."""

from __future__ import annotations

import re
import shutil
import subprocess
import zlib
from dataclasses import dataclass
from pathlib import Path

import pytest

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
_OPTIONS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer")


@dataclass(frozen=True)
class Sheet:
    """A printed page: its size in points, its drawing commands, and how many texts they write."""

    size_pt: tuple[float, float]
    commands: bytes

    @property
    def texts(self) -> int:
        return len(re.findall(rb"\bT[jJ]\b", self.commands))


def browser() -> str:
    """Return the program of a Chromium browser; skip the test where there is none."""
    found = next(filter(None, map(shutil.which, _NAMES)), None)
    if found is None:
        pytest.skip("no Chromium browser here to print with")
    return found


def print_page(html: str, folder: Path, size: str = "A4") -> list[Sheet]:
    """Print a page on paper of a size."""
    page, pdf = folder / "page.html", folder / f"{size}.pdf"
    page.write_text(html.replace("</style>", f"@page {{ size: {size} }}</style>", 1), "utf-8")
    place = (f"--user-data-dir={folder / 'browser'}", f"--print-to-pdf={pdf}", page.as_uri())
    command = [browser(), *_OPTIONS, *place]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    return _sheets(pdf.read_bytes())


def _sheets(pdf: bytes) -> list[Sheet]:
    objects = {
        int(found[1]): found[2]
        for found in re.finditer(rb"(?:^|\n)(\d+) 0 obj\n(.*?)\nendobj", pdf, re.DOTALL)
    }
    return [
        Sheet(_size(one), _commands(objects, one))
        for _, one in sorted(objects.items())
        if re.search(rb"/Type /Page\b", one)
    ]


def _size(page: bytes) -> tuple[float, float]:
    box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", page)
    assert box
    return float(box[1]), float(box[2])


def _commands(objects: dict[int, bytes], page: bytes) -> bytes:
    contents = re.search(rb"/Contents (\d+) 0 R", page)
    assert contents
    stream = re.search(rb"stream\n(.*)\nendstream", objects[int(contents[1])], re.DOTALL)
    assert stream
    return zlib.decompress(stream[1])
