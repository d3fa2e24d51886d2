"""What a phone has to fetch before the pages of a visit open: little enough for a thin line."""

import re
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

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
    """Bytes on the line, in gzip, for the files that a page names."""
    html = Client().get(reverse("visits:phone_page", args=[page])).content.decode()
    names = set(re.findall(rf'(?:src|href)="/static/({pattern})"', html))
    assert names
    return sum((folder / f"{name}.gz").stat().st_size for name in names)


@pytest.mark.parametrize("page", ["day", "start", "walk", "close"])
def test_a_page_of_the_phone_is_small(collected, page):
    """At most 40 kB of script, 80 kB with styles and the page itself, as they come over the line."""
    html = len(Client().get(reverse("visits:phone_page", args=[page])).content)

    script = packed(collected, page, r'js/[^"]+\.js')
    styles = packed(collected, page, r'css/[^"]+\.css')

    assert script <= 40 * KILOBYTE
    assert script + styles + html / 4 <= 80 * KILOBYTE  # pages pack at least four to one


def test_imports_lead_to_hashed_names_and_comments_stay_at_home(collected):
    (walk,) = collected.glob("js/phone/walk.*.js")

    text = walk.read_text()

    assert re.search(r'from"\./store\.[0-9a-f]{12}\.js"', text)
    assert "/**" not in text
    assert (walk.parent / f"{walk.name}.br").stat().st_size < walk.stat().st_size
