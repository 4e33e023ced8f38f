"""A phone: Debian's Chromium, one for each test module, and what is asked of each page."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, Response, sync_playwright

CHROMIUM = "/usr/bin/chromium"
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
SIZES = {"phone": (390, 844), "narrow": (320, 640), "wide": (1280, 800)}
# Rules of WCAG 2.0, 2.1 and 2.2 at A and AA, as axe-core names them, and its own best practice.
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PATIENCE_MS = 20_000
AXE = Path(str(files("axe_playwright_python").joinpath("axe.min.js")))

# Ratio of contrast by WCAG 2.2, 1.4.3 and its definition of relative luminance (V: w3.org/TR/WCAG22).
CONTRAST = """(element) => {
  const rgb = (text) => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map((v) => v / 255)
    .map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, n) => sum + v * [0.2126, 0.7152, 0.0722][n], 0);
  let ground = element;
  const clear = (at) => (rgb(getComputedStyle(at).backgroundColor)[3] ?? 1) === 0;
  while (ground && clear(ground)) ground = ground.parentElement;
  const under = getComputedStyle(ground).backgroundColor;
  const pair = [light(rgb(getComputedStyle(element).color)), light(rgb(under))];
  return (Math.max(...pair) + 0.05) / (Math.min(...pair) + 0.05);
}"""
# Words seen above the ways to go; what lies in `beyond`, such as further boxes, is left out.
WORDS_ABOVE = """(beyond) => {
  const seen = [], nav = document.querySelector("nav").getBoundingClientRect().top;
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const at = node.parentElement, box = at.getBoundingClientRect();
    if (!node.textContent.trim() || !at.checkVisibility()) continue;
    if (at.closest("nav, .skip, .unseen, [hidden], script") || (beyond && at.closest(beyond))) continue;
    if (box.width > 0 && box.top < nav && box.left >= 0) seen.push(node.textContent.trim());
  }
  return seen.join(" ").split(/\\s+/).filter((word) => /[\\p{L}\\p{N}]/u.test(word));
}"""
SMALL = """(least) => Array.from(
    document.querySelectorAll("button, a:not(.skip), input:not([type=hidden]), select, textarea, summary"))
  .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect().width, e.getBoundingClientRect().height])
  .filter(([, width, height]) => width > 0 && (width < least || height < least))"""

# Only what is wrong comes back: all that is right takes longer to carry over than to find.
RUN_AXE = """(tags) => axe.run(document, {runOnly: tags, resultTypes: ["violations"]})
  .then((found) => ({violations: found.violations, passed: found.passes.length}))"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """The browser."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        try:
            yield browser
        finally:
            browser.close()


def pocket(
    browser: Browser, size: str = "phone", scheme: str = "dark", scripts: bool = True
) -> BrowserContext:
    """A phone of its own: cookies, storage and network apart from every other."""
    width, height = SIZES[size]
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme="dark" if scheme == "dark" else "light",
        java_script_enabled=scripts,
    )
    context.set_default_timeout(PATIENCE_MS)
    return context


def opened(context: BrowserContext, link: str) -> Page:
    """A page opened by a link."""
    page = context.new_page()
    page.goto(link)
    return page


def at(page: Page, url: str) -> Response:
    """Go there; it must answer."""
    reply = page.goto(url)
    assert reply is not None
    return reply


def violations(page: Page) -> list[str]:
    """What axe-core finds wrong by WCAG 2.2 A and AA and its own best practice: rule and place."""
    if not page.evaluate("typeof axe === 'object'"):
        page.evaluate(AXE.read_text(encoding="utf-8"))
    found: dict[str, Any] = page.evaluate(RUN_AXE, TAGS)
    assert found["passed"] > 10, "axe looked at nothing"
    return [f"{one['id']}: {node['target']}" for one in found["violations"] for node in one["nodes"]]


def looks(page: Page) -> Iterator[tuple[str, str]]:
    """The open page in every size, by night and by day, without loading it again: size and scheme."""
    for size, (width, height) in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        page.emulate_media(color_scheme="dark")
        yield size, "dark"
        page.emulate_media(color_scheme="light")
        yield size, "light"


def least_contrast(page: Page, parts: str) -> float:
    """The lowest ratio of contrast among the elements of a selector; 99 where there are none."""
    return float(page.eval_on_selector_all(parts, f"(all) => Math.min(99, ...all.map({CONTRAST}))"))
