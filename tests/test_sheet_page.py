"""The build sheet as a page: sound HTML that needs nothing; read by ear, on a phone, on paper, by day and by night."""

from __future__ import annotations

import html
import itertools
import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import html5lib
import pytest

from kitwright.cli.report.as_markdown import as_markdown
from kitwright.cli.report.blocks import Paragraph
from kitwright.cli.report.sheet import written
from kitwright.cli.report.sheet.chart import Axis, Chart, round_ticks
from kitwright.cli.report.sheet.page import Section, Sheet
from kitwright.cli.report.sheet.svg import Canvas, thinned
from tests.cli_runner import plan, run

ROOT = Path(__file__).parent.parent
PUMP = ROOT / "examples" / "pump-house" / "plan.yaml"
CSS = (ROOT / "cli" / "report" / "sheet" / "templates" / "sheet.css").read_text(encoding="utf-8")
XHTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}"

PLANS = {
    "build": (PUMP, "--rank", "1"),
    "list": (PUMP, "--top", "4"),
    "inches": (PUMP, "--rank", "1", "--units", "in"),
    "little data": (plan("stack-not-needed"), "--rank", "1"),
    "worst case": (plan("skirt-to-counterweight"), "--rank", "1", "--tolerance", "worst_case"),
    "on paper": (plan("stack-not-needed"), "--min", "rev_ceiling=5000rpm", "--rank", "1"),
}

HOSTILE = """
blocks:
  - {id: "b<1>", name: "</td><img src=x onerror=alert(1)>", bore: 70 mm, block_height: 150.10 mm ± 0.03 mm}
cranks:
  - {id: "k&1", name: "<script>alert(2)</script>", stroke: 60 mm, journal: 28 mm, price: 1}
rods:
  - {id: 'r"1', name: "מוט ארוך", length: 94 mm, big_end: 28 mm, pin: 16 mm, price: 1}
pistons:
  - id: "p'1"
    bore: 70 mm
    compression_height: 26 mm
    pin: 16 mm
    name: "`x` {{ 7*7 }} {% raw %} </style>WWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWWW"
gaskets:
  - {id: "-->g1", thickness: 0.85 mm, bore: 70.5 mm, price: 3}
heads:
  - {id: "]]>head", chamber: 25.2 cc ± 0.2 cc, on_shelf: 1}
"""


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("hostile")
    (folder / "parts").mkdir()
    (folder / "parts" / "all.yaml").write_text(HOSTILE, encoding="utf-8")
    asked = "plan: '<script>alert(3)</script> & \"so\"'\ncatalogue: ./parts\ngoals:\n  quench: {min: 0.7 mm}\n"
    (folder / "plan.yaml").write_text(asked, encoding="utf-8")
    result = run("sheet", folder / "plan.yaml", "--rank", "1")
    assert result.exit_code == 0, result.output
    return str(result.stdout)


@cache
def page(name: str) -> str:
    result = run("sheet", *PLANS[name])
    assert result.exit_code == 0, result.output
    return str(result.stdout)


@cache
def tree(name: str) -> Any:
    return html5lib.parse(page(name))


def within(root: Any, tag: str) -> Iterator[Any]:
    yield from root.iter(tag)


each_page = pytest.mark.parametrize("name", PLANS)


# sound, self-contained, escaped


@each_page
def test_it_is_sound_html(name: str) -> None:
    html5lib.HTMLParser(strict=True).parse(page(name))
    ids = re.findall(r'\bid="([^"]+)"', page(name))
    assert len(ids) == len(set(ids))
    assert all(link in ids for link in re.findall(r'href="#([^"]+)"', page(name)))


@each_page
def test_it_needs_nothing_from_elsewhere(name: str) -> None:
    text = page(name).replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"https?:|//\w|url\(|@import|\bsrc=|<link|<script|<iframe|<object|<embed|<img|\bon\w+=", text)
    assert "default-src 'none'" in text
    assert all(target.startswith("#") for target in re.findall(r'href="([^"]*)"', text))


def test_hostile_names_are_shown_and_do_nothing(hostile: str) -> None:
    html5lib.HTMLParser(strict=True).parse(hostile)
    root = html5lib.parse(hostile)
    tags = {each.tag.removeprefix(XHTML).removeprefix(SVG) for each in root.iter() if isinstance(each.tag, str)}
    assert not tags & {"script", "img", "iframe"}
    assert not any(key.startswith("on") for each in root.iter() if isinstance(each.tag, str) for key in each.attrib)
    shown = " ".join("".join(root.itertext()).split())
    for text in ("<script>alert(3)</script>", "<img src=x onerror=alert(1)>", "<script>alert(2)</script>", "{{ 7*7 }}"):
        assert text in shown
    assert "מוט ארוך" in shown and "-->g1" in shown and "]]>head" in shown
    cells = [each for each in within(root, f"{XHTML}td") if "מוט" in "".join(each.itertext())]
    assert cells and all(each[0].tag == f"{XHTML}bdi" for each in cells)  # it turns no text but its own


@pytest.mark.parametrize("form", ["html", "markdown"])
def test_characters_that_turn_or_hide_text_are_written_out(form: str) -> None:
    text = "rod \u202ereversed\u2066 \x07"
    sheet = Sheet(text, text, (("Plan", text),), (Section("answer", "The answer", (Paragraph(text),)),))
    out = written(sheet, form)
    assert not set(out) & set("\u202e\u2066\x07")
    assert out.count("U+202E") >= 4


# read by ear and by keyboard


@each_page
def test_every_drawing_has_a_title_a_description_and_a_role(name: str) -> None:
    drawings = list(within(tree(name), f"{SVG}svg"))
    assert drawings
    for drawing in drawings:
        ids = {each.attrib.get("id"): "".join(each.itertext()) for each in drawing}
        told = drawing.attrib["aria-labelledby"].split()
        assert drawing.attrib["role"] == "img" and len(told) == 2
        assert drawing[0].tag == f"{SVG}title" and drawing[1].tag == f"{SVG}desc"
        assert all(len(ids[each]) > 10 for each in told)
        assert "nan" not in ElementTree.tostring(drawing, encoding="unicode").lower()


@each_page
def test_headings_go_down_one_by_one(name: str) -> None:
    levels = [
        int(each.tag[-1])
        for each in tree(name).iter()
        if isinstance(each.tag, str) and re.fullmatch(rf"{re.escape(XHTML)}h[1-6]", each.tag)
    ]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


@each_page
def test_every_table_says_what_its_rows_and_columns_are(name: str) -> None:
    tables = list(within(tree(name), f"{XHTML}table"))
    assert tables
    for table in tables:
        heads = list(within(table, f"{XHTML}th"))
        assert heads and all(each.attrib.get("scope") in ("col", "row", "rowgroup") for each in heads)
        columns = len(table.find(f"{XHTML}thead")[0])
        for row in within(table.find(f"{XHTML}tbody"), f"{XHTML}tr"):
            assert row[0].tag == f"{XHTML}th"
            assert sum(int(each.attrib.get("colspan", 1)) for each in row) == columns
        parents = {"table": "table", "tr": "row", "td": "cell"}
        for tag, role in parents.items():  # a phone lays tables out otherwise, which takes their meaning away
            assert all(each.attrib.get("role") == role for each in table.iter(f"{XHTML}{tag}"))


@each_page
def test_landmarks_language_and_skip_link(name: str) -> None:
    text = page(name)
    assert '<html lang="en">' in text and 'name="viewport"' in text
    assert [text.count(f"<{tag}") for tag in ("header>", "nav ", "main>", "footer>")] == [1, 1, 1, 1]
    body = text.split("<body>")[1].lstrip()
    assert body.startswith('<a class="skip" href="#answer">')
    for region in re.findall(r'<div class="scroll wide"[^>]*>', text):
        assert 'role="region"' in region and 'tabindex="0"' in region and 'aria-label="' in region


# colours


def variables(block: str) -> dict[str, str]:
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", block))


LIGHT = variables(CSS.split("@media")[0])
DARK = LIGHT | variables(CSS.split("prefers-color-scheme: dark")[1].split("* {")[0])
PAPER = LIGHT | variables(CSS.split("@media print")[1])


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition of relative luminance, from memory)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_computed_rightly() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2: the greatest there is
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)  # a well-known near miss, from memory


@pytest.mark.parametrize("theme", [LIGHT, DARK, PAPER], ids=["light", "dark", "paper"])
def test_text_and_lines_stand_out(theme: dict[str, str]) -> None:
    assert set(theme) >= {"paper", "panel", "ink", "soft", "rule", "edge", "a", "b", "c", "open"}
    assert set(theme) >= {"metal", "part", "layer"}
    for text in ("ink", "soft", "a", "b", "c", "open"):
        for ground in ("paper", "panel"):
            assert contrast(theme[text], theme[ground]) >= 4.5, (text, ground)  # WCAG 2.2, 1.4.3 level AA
    for line in ("a", "b", "c", "edge", "layer", "open"):
        assert contrast(theme[line], theme["paper"]) >= 3.0, line  # WCAG 2.2, 1.4.11
    for ground in ("metal", "part"):
        assert contrast(theme["ink"], theme[ground]) >= 4.5, ground


def test_the_three_verdicts_differ_by_colour_by_edge_and_by_mark() -> None:
    edges = dict(re.findall(r"^p\.(open|bad) {[^}]*border-color: var\(--(\w+)\)", CSS, re.M))
    good = re.search(r"p\.good, p\.open, p\.bad {[^}]*border-left: 5px solid var\(--(\w+)\)", CSS)
    assert good is not None and len({good[1], *edges.values()}) == 3
    for theme in (LIGHT, DARK, PAPER):
        assert len({theme[name] for name in (good[1], *edges.values())}) == 3
    for verdict, mark, words in (
        ("good", "✓", (PUMP, "--rank", "1")),
        ("open", "?", (plan("stack-not-needed"), "--min", "rev_ceiling=5000rpm", "--rank", "1")),
        ("bad", "✗", (plan("stack-not-needed"), "--use", "rod=r86", "--use", "gasket=g050", "--alone")),
    ):
        answer = run("sheet", *words).stdout
        marked = re.findall(r'<p class="(\w+)"><span class="sign" aria-hidden="true">(.)</span> It ', answer)
        assert marked == [(verdict, mark)]
        assert verdict == "good" or 'class="good"' not in answer  # green for what fits, and for nothing else


def test_lines_differ_by_more_than_colour() -> None:
    dashes = {each: re.search(rf"svg \.{each} {{ [^}}]*stroke-dasharray: ([\d. ]+)", CSS) for each in "abc"}
    assert dashes["a"] is None and dashes["b"] and dashes["c"]
    assert dashes["b"][1] != dashes["c"][1]


def test_colours_in_drawings_come_from_the_page() -> None:
    for drawing in re.findall(r"<svg .*?</svg>", page("build"), re.S):
        assert not re.search(r'\b(fill|stroke|style|color)="|#[0-9a-f]{6}', drawing)


# in a browser

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
in_browser = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine to render the page with")


def browse(file: Path, *words: str) -> subprocess.CompletedProcess[str]:
    assert CHROMIUM
    own = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--enable-logging=stderr", "--v=0"]
    profile = f"--user-data-dir={file.parent / 'profile'}"
    return subprocess.run(
        [CHROMIUM, *own, profile, *words, file.as_uri()],
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",
        timeout=120,
        check=True,
    )


PROBE = """
<!DOCTYPE html><meta charset="utf-8"><title>probe</title><body style="margin:0">
<iframe style="width:{width}px;height:4000px;border:0" srcdoc="{page}"></iframe><pre id="told"></pre>
<script>
addEventListener("load", () => {{
  const inside = document.querySelector("iframe").contentDocument, root = inside.documentElement;
  const out = [...inside.body.querySelectorAll("*")].filter(each => !each.closest(".unseen, .skip, thead, svg *"))
    .filter(each => each.getBoundingClientRect().right > {width} + 0.5).map(each => each.outerHTML.slice(0, 80));
  const cut = [...inside.querySelectorAll("svg")].flatMap(svg => {{
    const edge = svg.getBoundingClientRect();
    return [...svg.querySelectorAll("text")].filter(text => {{
      const box = text.getBoundingClientRect();
      return box.width && (box.right > edge.right + 1 || box.left < edge.left - 1 || box.bottom > edge.bottom + 1);
    }}).map(text => text.textContent);
  }});
  const small = Math.min(...[...inside.querySelectorAll("svg text")].map(
    text => parseFloat(getComputedStyle(text).fontSize) * text.ownerSVGElement.getBoundingClientRect().width / 360));
  const ground = getComputedStyle(inside.body).backgroundColor;
  document.getElementById("told").textContent = JSON.stringify(
    {{wide: root.scrollWidth, out, cut, small, ground, tall: root.scrollHeight}});
}});
</script>
"""


def probe(text: str, width: int, folder: Path, *words: str) -> dict[str, Any]:
    file = folder / "probe.html"
    file.write_text(PROBE.format(width=width, page=html.escape(text)), encoding="utf-8")
    done = browse(file, "--dump-dom", f"--window-size={max(width, 600)},1000", "--virtual-time-budget=4000", *words)
    assert "CONSOLE" not in done.stderr, done.stderr
    found = re.search(r'<pre id="told">(.*?)</pre>', done.stdout, re.S)
    assert found and found[1], done.stdout[-500:]
    told: dict[str, Any] = json.loads(html.unescape(found[1]))
    return told


@in_browser
@pytest.mark.parametrize(
    ("name", "width"),
    [*((name, 360) for name in PLANS), ("build", 320), ("build", 768), ("build", 1200), ("list", 1000)],
)
def test_nothing_runs_out_at_the_side(name: str, width: int, tmp_path: Path) -> None:
    told = probe(page(name), width, tmp_path)
    assert told["wide"] <= width and told["out"] == []
    assert told["cut"] == []
    assert told["small"] >= 10 or width < 360  # letters in drawings, in pixels
    assert told["tall"] > 1500


@in_browser
def test_long_and_hostile_names_run_out_nowhere(hostile: str, tmp_path: Path) -> None:
    told = probe(hostile, 360, tmp_path)
    assert told["wide"] <= 360 and told["out"] == []


@in_browser
@pytest.mark.parametrize(("scheme", "theme"), [(1, LIGHT), (0, DARK)], ids=["light", "dark"])
def test_it_follows_day_and_night(scheme: int, theme: dict[str, str], tmp_path: Path) -> None:
    told = probe(page("build"), 1000, tmp_path, f"--blink-settings=preferredColorScheme={scheme}")
    red, green, blue = (int(theme["paper"][place : place + 2], 16) for place in (1, 3, 5))
    assert told["ground"] == f"rgb({red}, {green}, {blue})"


@in_browser
@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("letter", (612, 792))])
def test_it_prints(paper: str, size: tuple[int, int], tmp_path: Path) -> None:
    file = tmp_path / "sheet.html"
    file.write_text(page("build").replace("@page {", f"@page {{ size: {paper};", 1), encoding="utf-8")
    printed = tmp_path / "sheet.pdf"
    done = browse(file, "--no-pdf-header-footer", f"--print-to-pdf={printed}")
    assert "CONSOLE" not in done.stderr
    data = printed.read_bytes()
    assert data.startswith(b"%PDF") and len(data) > 50_000
    boxes = {
        tuple(round(float(each)) for each in box.split()[2:]) for box in re.findall(rb"/MediaBox ?\[([\d. ]+)\]", data)
    }
    assert boxes == {size}
    pages = re.findall(rb"/Type ?/Page\b", data)
    assert 5 <= len(pages) <= 20


@in_browser
def test_it_opens_without_a_word_on_the_console_and_without_asking_anyone(tmp_path: Path) -> None:
    file = tmp_path / "sheet.html"
    file.write_text(page("build"), encoding="utf-8")
    shot = tmp_path / "sheet.png"
    done = browse(file, f"--screenshot={shot}", "--window-size=1000,3000")
    assert "CONSOLE" not in done.stderr and "Refused" not in done.stderr
    assert shot.read_bytes().startswith(b"\x89PNG") and shot.stat().st_size > 40_000


# small things


def test_ticks_are_round_and_cover() -> None:
    assert round_ticks(-0.52, 0.3, 4) == (-0.4, -0.2, 0.0, 0.2)
    assert round_ticks(3.0, 3.0) == (3.0,)
    for low, high in ((0.0, 1e-3), (-7.0, 13.0), (1e4, 9e4)):
        ticks = round_ticks(low, high)
        assert 3 <= len(ticks) <= 11 and all(low - 1e-9 <= each <= high + 1e-9 for each in ticks)


def test_a_line_that_leaves_the_frame_is_cut_and_comes_back() -> None:
    chart = Chart("x", Axis(0, 4, "x"), Axis(0, 1, "y"))
    before = len(chart.canvas.elements)
    chart.line([(0, 0.5), (1, 0.5), (2, 5.0), (3, 0.5), (4, 0.5)], "a")
    assert len(chart.canvas.elements) == before + 2


def test_thinning_keeps_what_can_be_seen() -> None:
    points = [(float(x), (x - 50) ** 2 / 50.0) for x in range(101)]
    kept = thinned(points)
    assert kept[0] == points[0] and kept[-1] == points[-1]
    assert 5 < len(kept) < 60 and set(kept) <= set(points)


def test_a_canvas_escapes_what_it_writes() -> None:
    canvas = Canvas("n", 10)
    canvas.text((0, 0), "<a & b>", 'x" onload="y')
    drawn = canvas.svg("<t>", "<d>")
    root = ElementTree.fromstring(str(drawn))
    assert root[2].text == "<a & b>" and set(root[2].attrib) == {"class", "x", "y"}
    assert root[0].text == "<t>"


def test_markdown_twin_has_no_html() -> None:
    told = run("sheet", PUMP, "--rank", "1", "--format", "markdown").stdout
    assert "<svg" not in told and "<table" not in told
    assert as_markdown([Paragraph("<b>")]) == "\\<b\\>\n"
