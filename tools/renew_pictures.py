"""Renew the pictures of the docs from the demo, and from the pictures of the window tests.

``python tools/renew_pictures.py FOLDER`` writes the demo to FOLDER, unless it is there already, and
takes figures, maps and pages from it; pages need Chromium. Pictures of Blender are those that
``pytest tests/window`` left in ``build/``; without them, the old ones stay. Look at all of them
before they are committed.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parents[1]
PICTURES, BUILD = ROOT / "docs" / "pictures", ROOT / "build"
COLOURS = 192
WIDTH = 1100
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
VIEWS = ("occlusal", "side_2", "cervical")

Box = tuple[int, int, int, int]

PAGES: dict[str, tuple[str, int]] = {
    "study": ("study/study_results/report.html", 1500),
    "report": ("checks/printed_check/check.html", 1330),
    "fit": ("fit/fit.html", 1240),
}
"""Pages, and how much of their top is shown."""

FIGURES = {
    "study_margin": "study/study_results/figures/trueness_margin.png",
    "study_maps": "study/study_results/figures/map_mean_tilted.png",
}
WIDEST = 900

WINDOWS: dict[str, tuple[str, Box]] = {
    "blender_fit": ("window_fit/fit_5_polar.png", (0, 75, 1135, 905)),
    "blender_study": ("window_study/study_6_mean.png", (0, 40, 1160, 905)),
    "blender": ("window_places/places_2_patch.png", (0, 75, 1160, 905)),
    "blender_crowns": ("window_tray/tray_4_by_verdict.png", (0, 75, 1160, 905)),
    "blender_margin": ("window_margin/margin_1_line.png", (0, 75, 1160, 905)),
    "areas": ("window_areas/areas_1_scan.png", (0, 75, 1160, 905)),
    "support_marks": ("window_marks/marks_1_marking.png", (0, 75, 1160, 905)),
}


def main(folder: Path) -> None:
    """Make what is missing in a folder, and take the pictures."""
    make_demo(folder)
    for name, file in FIGURES.items():
        image = Image.open(folder / file).convert("RGB")
        image.thumbnail((WIDEST, WIDEST))
        save(image, name)
    save(maps(folder / "checks"), "maps")
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("No Chromium: pictures of pages stay as they are.")
    for name, (file, height) in PAGES.items() if browser else ():
        save(page(browser, folder / file, height), name)
    for name, (file, box) in WINDOWS.items():
        if (BUILD / file).is_file():
            save(Image.open(BUILD / file).convert("RGB").crop(box), name)


def make_demo(folder: Path) -> None:
    """Write study, checks and a fit of the demo where they are not there yet."""
    study, checks, fit = folder / "study", folder / "checks", folder / "fit"
    if not (study / "study_results" / "report.html").is_file():
        cuspwise("demo", "--out", study)
    if not (checks / "printed_check" / "check.html").is_file():
        cuspwise("demo", "--checks", "--out", checks)
    if not (fit / "fit.html").is_file():
        crown = [study / "tilted" / "05.stl", study / "die.stl", "--design", study / "design.stl"]
        directions = ["--mesial", "1,0,0", "--buccal", "0,1,0", "--cement-space", "60"]
        teeth = [study / f"neighbour_{side}.stl" for side in ("mesial", "distal")]
        beside = [part for tooth in teeth for part in ("--neighbours", tooth)]
        walls = ["--set", "least_occlusal_mm=0.6"]
        cuspwise("fit", *crown, *directions, *beside, *walls, "--out", fit)


def cuspwise(*arguments: object) -> None:
    """Run a command; one that finds a crown outside its limits ends with 1, which is no failure."""
    command = [sys.executable, "-m", "cuspwise.standalone_core", *map(str, arguments)]
    if subprocess.run(command, check=False).returncode > 1:
        raise SystemExit(f"{' '.join(command)} failed.")


def maps(checks: Path) -> Image.Image:
    """Put views of the printed crown above those of the milled one."""
    rows = [
        [Image.open(checks / f"{crown}_check" / "pictures" / f"{view}.png") for view in VIEWS]
        for crown in ("printed", "milled")
    ]
    width, height = rows[0][0].size
    sheet = Image.new("RGB", (width * len(VIEWS), height * len(rows)), "white")
    for i, row in enumerate(rows):
        for j, picture in enumerate(row):
            sheet.paste(picture, (width * j, height * i))
    return sheet.resize((sheet.width // 2, sheet.height // 2), Image.Resampling.LANCZOS)


def page(browser: str, file: Path, height: int) -> Image.Image:
    """Return the top of a page, without the bar for scrolling."""
    with tempfile.TemporaryDirectory() as name:
        shot = Path(name) / "page.png"
        options = ["--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={name}/user"]
        size = ["--hide-scrollbars", f"--window-size={WIDTH},{height}"]
        command = [browser, *options, *size, f"--screenshot={shot}", file.resolve().as_uri()]
        subprocess.run(command, check=True, capture_output=True)
        return Image.open(shot).convert("RGB")


def save(image: Image.Image, name: str) -> None:
    """Write a picture with few colours, and so small."""
    image.quantize(COLOURS).save(PICTURES / f"{name}.png", optimize=True)
    print(f"{name}: {image.width} × {image.height}")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit(__doc__)
    main(Path(sys.argv[1]))
