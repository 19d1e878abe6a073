"""Pages in a headless browser: what they measure on screens and on paper.

On paper the style for print is measured by making it the style of the screen, in a frame as wide as the sheet.
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
#: A4 landscape less its margins (275 mm at 96 px an inch), and the two screens.
PAPER, SCREENS = 1039, (390, 1280)
OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--virtual-time-budget=8000",
)
#: Text, its size and contrast as computed; a text on a chart is as large as the chart is drawn.
MEASURE = r"""
<script>
document.querySelectorAll('details').forEach((d) => { d.open = true; });
const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
const linear = (v) => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
const light = (c) => 0.2126 * linear(c[0]) + 0.7152 * linear(c[1]) + 0.0722 * linear(c[2]);
const ground = (e) => {
  for (; e; e = e.parentElement) {
    const c = numbers(getComputedStyle(e).backgroundColor);
    if (c.length === 3 || c[3] === 1) return c;
  }
  return [255, 255, 255];
};
const texts = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const e = walk.currentNode.parentElement, words = walk.currentNode.data.trim();
  if (!words || e.closest('script, style, .glyph') || !e.getClientRects().length) continue;
  const style = getComputedStyle(e), drawn = e.ownerSVGElement;
  const scale = drawn ? drawn.getBoundingClientRect().width / drawn.viewBox.baseVal.width : 1;
  const pair = [light(numbers(drawn ? style.fill : style.color)), light(ground(e))].sort((a, b) => b - a);
  texts.push([words.slice(0, 40), parseFloat(style.fontSize) * scale, (pair[0] + 0.05) / (pair[1] + 0.05)]);
}
const pictures = [...document.querySelectorAll('img')].map((i) => [i.alt.slice(0, 40), i.getBoundingClientRect().width,
  Boolean(i.closest('.shapes, .shape'))]);
const root = document.documentElement;
parent.postMessage(JSON.stringify({width: innerWidth, needed: root.scrollWidth, texts, pictures}), '*');
</script>
"""


def run(profile: Path, path: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """The browser on a file; the test is skipped where there is none."""
    if BROWSER is None:
        pytest.skip("no Chromium on this machine")
    line = [BROWSER, *OPTIONS, f"--user-data-dir={profile}", *options, path.as_uri()]
    return subprocess.run(line, capture_output=True, text=True, timeout=60, check=False)


def scriptless(page: str) -> str:
    """A page without its scripts, and without the rule that forbids others."""
    page = re.sub(r"<script>.*?</script>", "", page, flags=re.S)
    return re.sub(r"<meta http-equiv[^>]*>", "", page)


def measured(page: str, folder: Path) -> dict[int, dict[str, Any]]:
    """What the page measures in frames of the widths of the screens and of paper."""
    copy = scriptless(page).replace("</main>", f"</main>{MEASURE}")
    paper = copy.replace("@media screen", "@media not all").replace("@media print", "@media all")
    (folder / "screen.html").write_text(copy, "utf-8")
    (folder / "paper.html").write_text(paper, "utf-8")
    frames = "".join(
        f'<iframe src="{name}.html" style="border:0;width:{width}px;height:800px"></iframe>'
        for name, width in (*(("screen", w) for w in SCREENS), ("paper", PAPER))
    )
    listen = "addEventListener('message', (e) => out.append(e.data + '\\n'))"
    frame = folder / "frames.html"
    frame.write_text(f"<pre id=out></pre>{frames}<script>const out = document.getElementById('out'); {listen}</script>")
    shown = run(folder / "profile", frame, "--window-size=1500,900", "--dump-dom").stdout
    found = re.search(r'<pre id="out">(.*?)</pre>', shown, flags=re.S)
    assert found, shown[:2000]
    return {m["width"]: m for m in map(json.loads, html.unescape(found[1]).strip().splitlines())}


def page_one(page: str) -> str:
    """The page up to where the engineer's part begins."""
    body = scriptless(page)
    start = body.index("</section>", body.index('<section class="decision"')) + len("</section>")
    return body[:start] + "</main></body></html>"


def sides(page: str, folder: Path) -> int:
    """Printed sides of a page, counted in the PDF."""
    source, pdf = folder / "print.html", folder / "print.pdf"
    source.write_text(page, "utf-8")
    run(folder / "profile", source, "--no-pdf-header-footer", f"--print-to-pdf={pdf}")
    return len(re.findall(rb"/Type\s*/Page\b", pdf.read_bytes()))
