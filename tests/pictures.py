"""Makes the pictures of the README: ``python tests/pictures.py``.  A test fails if they are older than their case."""

import sys
import tempfile
from pathlib import Path

from PIL import Image, PngImagePlugin

from panelfem.assess import assess
from panelfem.case import load_case
from panelfem.report import write

ROOT = Path(__file__).parents[1]
CASE = ROOT / "cases" / "floor_corner_torn.toml"
PICTURES = ROOT / "cases" / "pictures"
NAMES = ("panel.png", "reserves.png")


def made_from(picture):
    """The hash of the case a picture was made from."""
    with Image.open(picture) as image:
        return image.text.get("Case", "")


def main():
    """Make them."""
    case = load_case(CASE)
    with tempfile.TemporaryDirectory() as folder:
        write(assess(case), Path(folder) / "out")
        PICTURES.mkdir(exist_ok=True)
        for name in NAMES:
            with Image.open(Path(folder) / "out" / name) as image:
                note = PngImagePlugin.PngInfo()
                note.add_text("Case", case.hash)
                image.convert("P", palette=Image.Palette.ADAPTIVE, colors=64).save(
                    PICTURES / name, pnginfo=note, optimize=True
                )


if __name__ == "__main__":
    sys.exit(main())
