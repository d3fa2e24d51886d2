"""A stored file reaches its reader under a safe name and cannot act in our name."""

from types import SimpleNamespace

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db.models.fields.files import FieldFile
from django.http import Http404

from accounts.files import private_file, safe_name

# Closing a streamed answer closes what the request held, the database connection too.
pytestmark = pytest.mark.django_db


@pytest.fixture
def stored() -> FieldFile:
    name = default_storage.save("papers/naïve & co.pdf", ContentFile(b"%PDF-1.7"))
    field = SimpleNamespace(storage=default_storage, attname="file")
    return FieldFile(SimpleNamespace(), field, name)


def body(answer) -> bytes:
    return b"".join(answer.streaming_content)


def test_the_bytes_come_as_a_download_that_runs_nothing(stored):
    answer = private_file(stored, name="Site file.pdf", mime="application/pdf")

    assert body(answer) == b"%PDF-1.7"
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'attachment; filename="Site file.pdf"'
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer["Cache-Control"] == "private, no-store"


@pytest.mark.parametrize(
    ("mime", "shown"),
    [("image/jpeg", "inline"), ("image/svg+xml", "attachment"), ("text/html", "attachment")],
)
def test_only_plain_pictures_are_shown_in_a_page(stored, mime, shown):
    answer = private_file(stored, name="x", mime=mime, inline=True)
    assert answer["Content-Disposition"].partition(";")[0] == shown
    answer.close()


def test_a_web_server_in_front_sends_the_bytes_itself(stored, settings):
    settings.ACCEL_PREFIX = "/private/"
    answer = private_file(stored, name="a.pdf", mime="application/pdf")

    assert answer["X-Accel-Redirect"] == "/private/papers/na%C3%AFve%20%26%20co.pdf"
    assert answer.content == b""
    assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"


def test_a_stored_file_that_is_gone_is_not_found(stored):
    default_storage.delete(stored.name)
    with pytest.raises(Http404):
        private_file(stored, name="a.pdf", mime="application/pdf")


def test_a_field_without_a_file_is_not_found(stored):
    stored.name = ""
    with pytest.raises(Http404):
        private_file(stored, name="a.pdf", mime="application/pdf")


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("plan.pdf", "plan.pdf"),
        ("../../etc/passwd", "etc-passwd"),
        ("C:\\temp\\plan.pdf", "C:-temp-plan.pdf"),
        ("a\r\nSet-Cookie: x.pdf", "aSet-Cookie: x.pdf"),
        ("invoice\u202efdp.exe", "invoicefdp.exe"),
        ("", "file"),
        ("...", "file"),
        ("Küche größer.pdf", "Küche größer.pdf"),
        ("x" * 200 + ".pdf", "x" * 116 + ".pdf"),
    ],
    ids=[
        "plain", "folders", "other folders", "line break", "direction mark", "empty", "dots",
        "letters of any tongue", "long",
    ],
)  # fmt: skip
def test_a_name_means_the_same_everywhere(given, kept):
    assert safe_name(given) == kept


@pytest.mark.parametrize("name", ['say "cheese".jpg', "Küche.jpg", "a\r\nb.jpg"])
def test_any_name_makes_one_good_header(stored, name):
    answer = private_file(stored, name=name, mime="image/jpeg")
    header = answer["Content-Disposition"]
    assert "\n" not in header
    assert "\r" not in header
    assert header.startswith("attachment; filename")
    answer.close()
