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
    names = set(re.findall(rf'(?:src|href)="/static/({pattern})"', html))
    assert names
    return sum((folder / f"{name}.br").stat().st_size for name in names)


@pytest.mark.parametrize("page", ["day", "start", "walk", "close"])
def test_a_page_of_the_phone_is_small(collected, page):
    """At most 40 kB of script, 80 kB with styles and the page itself."""
    html = Client().get(reverse("visits:phone_page", args=[page])).content

    script = packed(collected, page, r'js/[^"]+\.js')
    styles = packed(collected, page, r'css/[^"]+\.css')

    assert script <= 40 * KILOBYTE
    assert script + styles + len(gzip.compress(html)) <= 80 * KILOBYTE


def test_imports_lead_to_hashed_names_and_comments_stay_at_home(collected):
    (walk,) = collected.glob("js/phone/walk.*.js")

    text = walk.read_text()

    assert re.search(r'from"\./store\.[0-9a-f]{12}\.js"', text)
    assert "/**" not in text
    assert (walk.parent / f"{walk.name}.br").stat().st_size < walk.stat().st_size


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
        assert subprocess.run(["node", "--check", packed], check=False).returncode == 0
    shutil.copytree(root / "tests/js", tmp_path / "tests/js")

    tests = sorted((tmp_path / "tests/js").glob("*.mjs"))
    ran = subprocess.run(
        ["node", "--test", *tests], cwd=tmp_path, capture_output=True, text=True, check=False
    )

    assert ran.returncode == 0, ran.stdout
    assert int(re.search(r"# pass (\d+)", ran.stdout).group(1)) >= 70
