"""Static files get names that change with their content, in our own scripts' imports too."""

import gzip
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings as installed
from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from config.packing import packed_script, packed_style

HASHED = {"staticfiles": {"BACKEND": "config.static.HashedStatic"}}


def test_before_they_are_collected_the_names_are_plain(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path
    settings.STORAGES = {**settings.STORAGES, **HASHED}
    assert staticfiles_storage.url("css/app.css") == "/static/css/app.css"


def test_a_module_imports_the_hashed_name_of_another(settings, tmp_path):
    source = tmp_path / "source"
    (source / "js").mkdir(parents=True)
    (source / "js/page.js").write_text('import { settle } from "./log.js";\nsettle([]);\n')
    (source / "js/log.js").write_text("export const settle = (log) => log;\n")
    settings.STATICFILES_DIRS = [source]
    settings.STATIC_ROOT = tmp_path / "collected"
    settings.STORAGES = {**settings.STORAGES, **HASHED}

    call_command("collectstatic", interactive=False, verbosity=0)

    page = staticfiles_storage.stored_name("js/page.js")
    assert re.fullmatch(r"js/page\.[0-9a-f]{12}\.js", page)
    log = staticfiles_storage.stored_name("js/log.js").removeprefix("js/")
    assert f'from"./{log}"' in (settings.STATIC_ROOT / page).read_text()


def test_modules_may_name_each_others_types(settings, tmp_path):
    source = tmp_path / "source"
    (source / "js").mkdir(parents=True)
    (source / "js/page.js").write_text('import { a } from "./part.js";\na();\n')
    (source / "js/part.js").write_text(
        '/** @param {import("./page.js").Page} one */\nexport const a = (one) => one;\n'
    )
    settings.STATICFILES_DIRS = [source]
    settings.STATIC_ROOT = tmp_path / "collected"
    settings.STORAGES = {**settings.STORAGES, **HASHED}

    call_command("collectstatic", interactive=False, verbosity=0)

    assert staticfiles_storage.stored_name("js/part.js") != "js/part.js"


def test_all_static_files_can_be_collected(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path
    settings.STORAGES = {**settings.STORAGES, **HASHED}

    call_command("collectstatic", interactive=False, verbosity=0)

    assert staticfiles_storage.hashed_files


# --- what comes over the line ---------------------------------------------------------------------

KILOBYTE = 1000


@pytest.fixture
def collected(settings, tmp_path) -> Path:
    """Static files as on a server: hashed names, packed."""
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "config.static.HashedStatic"},
    }
    call_command("collectstatic", interactive=False, verbosity=0)
    return settings.STATIC_ROOT


def packed(folder: Path, page: str, pattern: str) -> int:
    """Bytes on the line, in brotli as every phone takes it, for the files that a page names."""
    html = Client().get(reverse("visits:phone_page", args=[page])).content.decode()
    names = set(re.findall(pattern, html))
    return sum((folder / f"{name}.br").stat().st_size for name in names)


@pytest.mark.parametrize("page", ["day", "start", "walk", "close"])
def test_a_page_of_the_phone_is_small(collected, page):
    """At most 40 kB of script before it can be used, 80 kB with all else that it may load."""
    html = Client().get(reverse("visits:phone_page", args=[page])).content

    script = packed(collected, page, r'(?:modulepreload" href|src)="/static/(js/[^"]+\.js)"')
    later = packed(collected, page, r'prefetch" href="/static/(js/[^"]+\.js)"')
    styles = packed(collected, page, r'href="/static/(css/[^"]+\.css)"')

    assert 0 < script <= 40 * KILOBYTE
    assert styles
    assert (later > 0) == (page == "walk")
    assert script + later + styles + len(gzip.compress(html)) <= 80 * KILOBYTE


def test_imports_lead_to_hashed_names_and_comments_stay_at_home(collected):
    (walk,) = collected.glob("js/phone/walk.*.js")

    text = walk.read_text()

    assert re.search(r'from"\./store\.[0-9a-f]{12}\.js"', text)
    assert "/**" not in text
    assert (walk.parent / f"{walk.name}.br").stat().st_size < walk.stat().st_size


@pytest.mark.parametrize(
    ("written", "left"),
    [
        ("const  a = 1; // one\n", "const a=1;\n"),
        ("a();/* b\n */b()", "a();\nb()\n"),
        ("return  /x y/.test(a + +b - -c)", "return/x y/.test(a+ +b- -c)\n"),
        ("const a = `x  ${ f(`y  ${z}`) }\n  w`;", "const a=`x  ${ f(`y  ${z}`) }\n  w`;\n"),
        ("a = b // c\n  (d)", "a=b\n(d)\n"),
        ('const é = "a  /* b */";', 'const é="a  /* b */";\n'),
        ("const broken = (;  // kept", "const broken = (;  // kept"),
    ],
    ids=["line", "over lines", "signs", "template in template", "end of line", "text", "bad"],
)
def test_packing_takes_away_only_what_parts_nothing(written, left):
    assert packed_script(written.encode()).decode() == left


def test_a_packed_style_says_the_same():
    written = b'/* a */\n.b > .c,\n.d {\n  margin: 0  auto; /* e */\n  content: "/* f */  g";\n}\n'

    left = packed_style(written).decode()

    assert left == '.b > .c, .d { margin: 0 auto; content: "/* f */  g"; }\n'


def test_packed_scripts_do_what_the_written_ones_do(tmp_path):
    """The scripts' own tests, on what phones get."""
    root = installed.BASE_DIR
    shutil.copy(root / "package.json", tmp_path)
    for source in (root / "static/js").rglob("*.js"):
        packed = tmp_path / source.relative_to(root)
        packed.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(source, packed)
    scripts = sorted((tmp_path / "static").rglob("*.js"))
    subprocess.run([sys.executable, "-m", "config.packing", *scripts], cwd=root, check=True)
    for packed in scripts:
        written = root / packed.relative_to(tmp_path)
        assert packed.stat().st_size < written.stat().st_size, f"{written} was not read whole"
        assert subprocess.run(["node", "--check", packed], check=False).returncode == 0
    shutil.copytree(root / "tests/js", tmp_path / "tests/js")

    tests = sorted((tmp_path / "tests/js").glob("*.mjs"))
    ran = subprocess.run(
        ["node", "--test", *tests], cwd=tmp_path, capture_output=True, text=True, check=False
    )

    assert ran.returncode == 0, ran.stdout
    assert int(re.search(r"# pass (\d+)", ran.stdout).group(1)) >= 70
