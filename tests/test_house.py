"""The house rules that a machine can see to. Home-made checks show a good and a bad example."""

import ast
import re
import subprocess
import sys
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import get_commands
from django.utils.module_loading import import_string
from importlinter.cli import lint_imports

from accounts.trail_words import declared
from config import (
    env,
    gunicorn,  # noqa: F401  (asks for its settings)
)
from config.celery import app as celery_app
from config.schedule import SWEEPS

ROOT = settings.BASE_DIR
OUR_APPS = {"accounts", "sites", "visits", "compliance", "config"}
ASKED = env.asked()  # before other tests ask for names of their own
OPERATIONS = (ROOT / "docs/operations.md").read_text()


def cells(name: str) -> list[str]:
    """The row of a table in the operations page that begins with this name."""
    rows = re.findall(rf"^\| `{re.escape(name)}` \|(.*)\|$", OPERATIONS, re.M)
    assert len(rows) == 1, f"docs/operations.md needs one row for `{name}`"
    return [cell.strip() for cell in rows[0].split("|")]


def in_words(default: object) -> str:
    """A default as the operations page writes it."""
    match default:
        case "" | []:
            return "none"
        case bool():
            return "`yes`" if default else "`no`"
        case list():
            return f"`{','.join(default)}`"
        case _:
            return f"`{default}`"


# --- documentation --------------------------------------------------------------------------------


# What these default to depends on the folder or is made, so the page says it in its own words.
SAID_OTHERWISE = {"KICKPLATE_DATA_DIR", "KICKPLATE_SECRET_KEY", "DATABASE_URL"}


@pytest.mark.parametrize("name", ASKED)
def test_every_setting_is_documented_with_its_default(name):
    default, meaning = cells(name)
    assert meaning
    if name not in SAID_OTHERWISE:
        assert default.split(";")[0] == in_words(ASKED[name])


def test_no_setting_is_documented_that_nobody_reads():
    documented = set(re.findall(r"^\| `([A-Z_]+)` \|", OPERATIONS, re.M))
    assert documented == set(ASKED)


@pytest.mark.parametrize(
    "name", sorted(name for name, app in get_commands().items() if app in OUR_APPS)
)
def test_every_command_is_documented(name):
    [does] = cells(name)
    assert does


@pytest.mark.parametrize("script", sorted((ROOT / "bin").iterdir()), ids=lambda path: path.name)
def test_every_script_says_what_it_does_and_is_documented(script):
    first, second, *_ = script.read_text().splitlines()
    assert first == "#!/usr/bin/env bash"
    assert second.startswith("# ")
    assert script.stat().st_mode & 0o111
    assert f"bin/{script.name}" in OPERATIONS
    assert subprocess.run(["bash", "-n", script]).returncode == 0


def test_every_trail_verb_is_documented_with_its_words():
    rows = re.findall(r"^\| `([a-z_.]+)` \| (.+) \|$", (ROOT / "docs/trail.md").read_text(), re.M)
    assert dict(rows) == declared()


# --- jobs -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("sweep", SWEEPS, ids=lambda sweep: sweep.name)
def test_every_sweep_is_a_task_and_a_command_of_one_name(sweep):
    assert import_string(sweep.task).name == sweep.task
    assert sweep.name in get_commands()


def test_every_task_of_ours_is_a_sweep_that_gets_its_turns():
    celery_app.loader.import_default_modules()
    tasks = {name for name in celery_app.tasks if name.partition(".")[0] in OUR_APPS}
    assert tasks == {sweep.task for sweep in SWEEPS}


# --- what is needed -------------------------------------------------------------------------------


def imported_by_us() -> set[str]:
    """The first names of all modules that our code imports, wherever the import stands."""
    found = set()
    for app in sorted(OUR_APPS):
        for path in (ROOT / app).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                match node:
                    case ast.Import():
                        found |= {alias.name.partition(".")[0] for alias in node.names}
                    case ast.ImportFrom(level=0, module=str(module)):
                        found.add(module.partition(".")[0])
    return found


def test_what_we_import_is_asked_for_by_name():
    """Not left to come along with something else, or with what only the tests need."""
    lines = (ROOT / "requirements.in").read_text().splitlines()
    asked = {
        match.group()
        for line in lines
        if (match := re.match(r"[a-z0-9-]+", line.lower().replace("_", "-")))
    }
    # Come with celery and weasyprint, of which they are the other half.
    asked |= {"kombu", "redis", "pydyf"}
    belongs_to = packages_distributions()
    ours = OUR_APPS | set(sys.stdlib_module_names) | {"tests"}
    needed = {belongs_to[name][0].lower() for name in imported_by_us() - ours}
    assert needed - asked == set()


# --- directions -----------------------------------------------------------------------------------


def test_imports_point_left(capsys):
    assert lint_imports() == 0, capsys.readouterr().out


# --- templates ------------------------------------------------------------------------------------

INLINE = re.compile(
    r"""<style[\s>]                                            # a style sheet in the page
      | <script(?![^>]*\ssrc=)(?![^>]*application/json)[^>]*>  # a script in the page
      | <[a-z][^>]*\s(style|on[a-z]+)\s*=                      # a style or a script on an element
      | (href|src|action)=["']?\s*javascript:
    """,
    re.I | re.X,
)


@pytest.mark.parametrize(
    "good",
    [
        '<script type="module" src="/static/js/x.js"></script>',
        '<script type="application/json" id="facts">{}</script>',
        '<p class="style" data-on="x">on = off</p>',
    ],
)
def test_what_a_strict_policy_allows_is_found_in_order(good):
    assert INLINE.search(good) is None


@pytest.mark.parametrize(
    "bad",
    [
        "<style>p {}</style>",
        "<script>alert(1)</script>",
        '<script type="module">import "./x.js"</script>',
        '<p class="x" style="color: red">',
        '<button onclick="x()">',
        "<a href=\"javascript:x()\">",
    ],
)  # fmt: skip
def test_what_a_strict_policy_blocks_is_found(bad):
    assert INLINE.search(bad)


def pages() -> list[Path]:
    """Every template that a browser gets to see; papers bring their own styles."""
    return [
        path
        for path in sorted((ROOT / "templates").rglob("*.html"))
        if "print" not in path.relative_to(ROOT).parts
    ]


def test_no_page_has_inline_styles_or_scripts():
    found = {
        str(path.relative_to(ROOT)): match.group()
        for path in pages()
        if (match := INLINE.search(path.read_text()))
    }
    assert found == {}
