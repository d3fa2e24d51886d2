"""What a phone keeps of a release: pages, and every file they name, by the hash of its bytes."""

import json
import re
from urllib.parse import urljoin

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse

from accounts.sealing import digest
from tests.builders.accounts import make_office, make_technician
from visits.phone_pages import phone_pages, release


def served(address: str) -> bytes:
    answer = Client().get(address)
    assert answer.status_code == 200, address
    return b"".join(answer) if answer.streaming else answer.content


@pytest.fixture
def collected(settings, tmp_path):
    """Static files as on a server: under names that change with their content."""
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "config.static.HashedStatic"},
    }
    call_command("collectstatic", interactive=False, verbosity=0)


def test_every_page_and_every_file_that_a_page_names_is_kept():
    kept = dict(release()["files"])

    for name in phone_pages():
        address = reverse("visits:phone_page", args=[name])
        html = served(address)
        assert kept[address] == digest(html)
        named = re.findall(r'(?:src|href)="(/static/[^"]+)"', html.decode())
        assert named
        assert set(named) <= set(kept)


def test_a_page_names_every_module_that_its_script_needs():
    for name, page in phone_pages().items():
        html = served(reverse("visits:phone_page", args=[name])).decode()
        at_once = set(re.findall(r'rel="modulepreload" href="([^"]+)"', html))
        later = set(re.findall(r'rel="prefetch" href="([^"]+)"', html))
        assert f"/static/js/phone/{page.script}.js" in at_once
        for script in page.later:
            assert f"/static/js/phone/{script}.js" in later
        for modules in (at_once, at_once | later):
            for module in modules:
                script = served(module).decode()
                for imported in re.findall(r'^import .* from "(.+)";', script, re.M):
                    assert urljoin(module, imported) in modules


def test_the_kept_hash_is_that_of_the_served_file_also_under_hashed_names(collected, settings):
    """As behind a web server that hands out the collected files."""
    for address, kept in release()["files"]:
        if address.startswith("/static/"):
            name = address.removeprefix("/static/")
            assert re.search(r"\.[0-9a-f]{12}\.", name), name
            assert digest((settings.STATIC_ROOT / name).read_bytes()) == kept


def test_the_worker_carries_the_release_and_is_asked_for_anew_each_time(client):
    answer = client.get(reverse("worker"))

    first, _, script = answer.content.decode().partition("\n")
    assert json.loads(first.removeprefix("const RELEASE = ").removesuffix(";")) == json.loads(
        json.dumps(release())
    )
    assert "addEventListener" in script
    assert answer["Cache-Control"] == "no-cache"
    assert answer["Content-Type"].startswith("text/javascript")


@pytest.mark.parametrize(
    ("address", "page"),
    [
        ("/visits/my-day/", "day"),
        ("/visits/01a2110c-492e-7fd2-a0f8-c7dd24371ff9/walk/", "walk"),
        ("/visits/01a2110c-492e-7fd2-a0f8-c7dd24371ff9/", None),
        ("/visits/01a2110c-492e-7fd2-a0f8-c7dd24371ff9/amend/", None),
        ("/sites/m/ABCD/", "label"),
        ("/SITES/M/ABCD/", "label"),
        ("/sites/", None),
    ],
)
def test_the_worker_knows_which_page_is_shown_where(address, page):
    shown = [found for pattern, found in release()["pages"] if re.search(pattern, address)]

    assert shown == ([reverse("visits:phone_page", args=[page])] if page else [])


def test_the_manifest_names_icons_that_are_there(client):
    manifest = client.get(reverse("manifest")).json()

    assert manifest["start_url"] == reverse("visits:my_day")
    assert {one["sizes"] for one in manifest["icons"]} == {"any", "192x192", "512x512"}
    for icon in manifest["icons"]:
        assert served(icon["src"])


# --- whose phone it is ----------------------------------------------------------------------------


def test_the_phone_can_read_who_is_signed_in_until_they_sign_out(client, db):
    person, other = make_technician(), make_office()
    client.force_login(person)
    client.get(reverse("visits:my_day"))
    assert client.cookies["who"].value == str(person.pk)
    assert not client.cookies["who"]["httponly"]

    client.cookies.pop("sid")  # the session ran out: it is still that person's phone
    client.get(reverse("account_login"))
    assert client.cookies["who"].value == str(person.pk)

    client.force_login(other)
    client.get(reverse("home"))
    assert client.cookies["who"].value == str(other.pk)

    client.post(reverse("account_logout"))
    assert client.cookies["who"].value == ""


def test_a_page_does_not_change_who_it_says_it_is_without_need(client, db):
    client.force_login(make_technician())
    client.get(reverse("visits:my_day"))

    assert "who" not in client.get(reverse("visits:my_day")).cookies
