"""What holds for every template: nothing that the strict policy would block, no drawing missing."""

import re
from pathlib import Path

import pytest

TEMPLATES = Path(__file__).parent.parent / "templates"
PAPERS = {"print"}  # papers are drawn by WeasyPrint, which knows no policy
PAGES = sorted(
    page for page in TEMPLATES.rglob("*.html") if page.relative_to(TEMPLATES).parts[0] not in PAPERS
)

BLOCKED = re.compile(
    r"""<[^>]*\sstyle\s*=            # a style of its own
    | <[^>]*\son[a-z]+\s*=           # a script in an attribute
    | <style[\s>]
    | <script(?![^>]*(\ssrc=|application/json))
    """,
    re.VERBOSE | re.IGNORECASE,
)
PART = re.compile(r'{%\s*include\s+"components/[^"]+"[^%]*%}')


@pytest.mark.parametrize(
    "blocked",
    [
        '<p style="color: red">',
        '<button onclick="go()">',
        "<style>p {}</style>",
        "<script>go()</script>",
        '<script type="module">go()</script>',
    ],
)
def test_the_check_sees_what_is_blocked(blocked):
    assert BLOCKED.search(blocked)


@pytest.mark.parametrize(
    "fine",
    [
        '<script type="module" src="/static/js/app.js"></script>',
        '<script data-allauth-onload="x" type="application/json">{}</script>',
        '<p class="style">one = two</p>',
        '<link rel="stylesheet" href="x.css">',
    ],
)
def test_the_check_lets_pass_what_is_fine(fine):
    assert not BLOCKED.search(fine)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(TEMPLATES)))
def test_a_template_holds_the_house_rules(page):
    text = page.read_text()

    assert not BLOCKED.search(text)
    for part in PART.findall(text):
        assert re.search(r"\bonly\s*%}$", part), f"{part} takes the whole context along"
    for name in re.findall(r'{%\s*icon\s+"([^"]+)"', text):
        assert (TEMPLATES / "icons" / f"{name}.svg").exists(), f"no drawing {name}"
