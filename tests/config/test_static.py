"""Static files get names that change with their content, in our own scripts' imports too."""

import re

from django.contrib.staticfiles.storage import staticfiles_storage
from django.core.management import call_command

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
    assert f'from "./{log}"' in (settings.STATIC_ROOT / page).read_text()


def test_all_static_files_can_be_collected(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path
    settings.STORAGES = {**settings.STORAGES, **HASHED}

    call_command("collectstatic", interactive=False, verbosity=0)

    assert staticfiles_storage.hashed_files
