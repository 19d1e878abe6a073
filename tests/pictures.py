"""Makes the pictures of the README: ``python tests/pictures.py``.  A test fails if they are older than their case.

Page one and the template need ``chromium`` to be drawn.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image, ImageChops, PngImagePlugin

from panelfem import papers
from panelfem.assess import assess
from panelfem.case import load_case
from panelfem.garage import Library, compose
from panelfem.report import write

ROOT = Path(__file__).parents[1]
CASE = ROOT / "cases" / "floor_corner_torn.toml"
GARAGE = ROOT / "cases" / "garage"
FINDING = GARAGE / "findings" / "corner-torn.toml"
PICTURES = ROOT / "cases" / "pictures"
NAMES = ("panel.png", "reserves.png")
OF_FINDING = ("page-one.png", "template.png")
PATCH = "cold-bonded patch"


def made_from(picture):
    """The hash of the case a picture was made from."""
    with Image.open(picture) as image:
        return image.text.get("Case", "")


def composed(folder):
    """The case of the demo finding, written into a folder, and its steps."""
    made = compose(Library.open(GARAGE), FINDING)
    return load_case(made.write(folder)), made


def keep(source, name, case):
    """A picture with few colours, marked with the hash of its case."""
    with Image.open(source) as image:
        note = PngImagePlugin.PngInfo()
        note.add_text("Case", case.hash)
        image.convert("RGB").convert("P", palette=Image.Palette.ADAPTIVE, colors=64).save(
            PICTURES / name, pnginfo=note, optimize=True
        )


def shot(page, picture, size, folder):
    """A picture of a page or a drawing as a browser shows it, its empty margin cut off."""
    said = ("--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-background-networking")
    places = (f"--user-data-dir={folder / 'browser'}", f"--screenshot={picture}")
    command = ["chromium", *said, *places, f"--window-size={size[0]},{size[1]}", page.as_uri()]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    with Image.open(picture) as image:
        plain = image.convert("RGB")
        box = ImageChops.difference(plain, Image.new("RGB", plain.size, plain.getpixel((0, 0)))).getbbox()
        plain.crop((0, 0, plain.width, box[3] + 12)).save(picture)


def main():
    """Make them."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        case = load_case(CASE)
        write(assess(case), folder / "out")
        for picture in NAMES:
            keep(folder / "out" / picture, picture, case)
        (folder / "finding").mkdir()
        case, made = composed(folder / "finding")
        found = assess(case)
        write(found, folder / "page")
        papers.write(case, PATCH, folder / "papers", steps=made.steps[PATCH])
        shot(folder / "page" / "report.html", folder / "page-one.png", (1280, 1060), folder)
        (template,) = sorted((folder / "papers").glob("template-*.svg"))[:1]
        shot(template, folder / "template.png", (820, 900), folder)
        for picture in OF_FINDING:
            keep(folder / picture, picture, case)


if __name__ == "__main__":
    sys.exit(main())
