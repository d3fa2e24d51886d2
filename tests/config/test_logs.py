"""Nothing that lets somebody in, and nothing private, goes into the log."""

import io
import json
import logging

import pytest
import structlog
from django.urls import reverse

from config.logs import HIDDEN, hide_secrets, logging_of, safe_path


@pytest.fixture
def lines():
    """Everything that is logged while a test runs, as production writes it."""
    formatter = logging_of(level="DEBUG", lines="json")["formatters"]["lines"]
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(
        structlog.stdlib.ProcessorFormatter(
            processors=formatter["processors"], foreign_pre_chain=formatter["foreign_pre_chain"]
        )
    )
    root = logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    yield lambda: [json.loads(line) for line in stream.getvalue().splitlines()]
    root.setLevel(before)
    root.removeHandler(handler)


@pytest.mark.parametrize(
    "name", ["password", "new_password1", "API_TOKEN", "Authorization", "cookie", "phone"]
)
def test_a_value_is_blanked_by_its_name(name):
    assert hide_secrets(None, "info", {name: "hush", "site": "S1"}) == {name: HIDDEN, "site": "S1"}


def test_an_invitation_cannot_be_taken_up_from_the_log():
    path = reverse("accounts:join", args=["s3cret-invitation"])
    assert "s3cret" not in safe_path(path)
    assert HIDDEN in safe_path(path)


def test_a_mistyped_secret_address_is_not_kept_either():
    path = reverse("accounts:join", args=["s3cret-invitation"])
    assert "s3cret" not in safe_path(path.rstrip("/"))
    assert "s3cret" not in safe_path(f"{path}x/")


def test_an_ordinary_address_is_kept():
    assert safe_path("/health/live") == "/health/live"


def test_the_lines_of_a_request_share_an_id_and_have_no_query(client, db, lines):
    client.get("/health/live?next=s3cret")

    [told] = [line for line in lines() if line["event"] == "request_finished"]
    assert told["request"] == "GET /health/live"
    assert (told["code"], len(told["request_id"])) == (200, 36)
    assert "s3cret" not in json.dumps(lines())


def test_a_failed_sign_in_is_told_without_what_was_typed(client, office, lines):
    client.post("/accounts/login/", {"login": office.email, "password": "s3cret phrase"})

    [told] = [line for line in lines() if line["event"] == "sign-in failed"]
    assert told["request_id"]
    assert "s3cret phrase" not in json.dumps(lines())
    assert office.email not in json.dumps(lines())


@pytest.mark.parametrize(
    ("proxies", "address"),
    [(0, "127.0.0.1"), (1, "192.0.2.7"), (2, "198.51.100.4"), (9, "127.0.0.1")],
)
def test_an_address_is_believed_only_from_our_own_web_servers(
    client, db, lines, settings, proxies, address
):
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = proxies
    client.get("/health/live", headers={"x-forwarded-for": "made up, 198.51.100.4, 192.0.2.7"})

    [told] = [line for line in lines() if line["event"] == "request_finished"]
    assert told["ip"] == address


def test_a_line_break_cannot_start_a_line_of_its_own(lines):
    logging.getLogger("kickplate").warning("said %s", 'x\n{"event": "forged"}')

    assert [line["event"] for line in lines()] == ['said x\n{"event": "forged"}']
