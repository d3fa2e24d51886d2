"""What goes into the log: one line an event, the same request id on each, and nothing secret."""

import re
from collections.abc import MutableMapping
from typing import Any

import structlog
from django.conf import settings
from django.http import HttpRequest
from django.urls import Resolver404, resolve
from django_structlog.middlewares import RequestMiddleware
from structlog.typing import Processor

log = structlog.get_logger(__name__)

HIDDEN = "[hidden]"
SECRET_NAMES = re.compile(
    r"pass(word|phrase)|secret|token|authori[sz]ation|cookie|signature|phone|recovery", re.I
)
# The parts of an address that are as good as a password: whoever has them may come in.
SECRET_PARTS = re.compile(r"token|secret|^key$|^uidb36$")

Event = MutableMapping[str, Any]


def hide_secrets(logger: Any, method: str, event: Event) -> Event:
    """Blank every value whose name says that it is nobody's business. A structlog processor."""
    for name in event:
        if SECRET_NAMES.search(name):
            event[name] = HIDDEN
    return event


def safe_path(path: str) -> str:
    """An address without its query and without what lets its holder in.

    An address that leads nowhere may be a mistyped secret one, so only its first part is kept.
    """
    for candidate in (path, f"{path}/"):
        try:
            match = resolve(candidate)
        except Resolver404:
            continue
        for name, value in match.kwargs.items():
            if SECRET_PARTS.search(name):
                path = path.replace(str(value), HIDDEN)
        return path
    first, _, rest = path.lstrip("/").partition("/")
    return f"/{first[:40]}/…" if rest else f"/{first[:40]}"


def address_of(request: HttpRequest) -> str:
    """Where a request came from, by what our own web servers say; callers may claim anything.

    Each of them adds, at the end, the address that called it.
    """
    proxies: int = settings.ALLAUTH_TRUSTED_PROXY_COUNT
    passed_on = request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")
    if 0 < proxies <= len(passed_on):
        return str(passed_on[-proxies]).strip()
    return str(request.META.get("REMOTE_ADDR", ""))


class RequestLog(RequestMiddleware):
    """Tells of each request once it is answered, under an id that all its lines share."""

    @classmethod
    def bind_ip(cls, request: HttpRequest) -> None:
        structlog.contextvars.bind_contextvars(ip=address_of(request))

    @staticmethod
    def format_request(request: HttpRequest) -> str:
        return f"{request.method} {safe_path(request.path_info)}"


def note_failed_sign_in(**_: Any) -> None:
    """Tell of a failed sign-in, without the address: a mistyped one may be a password."""
    log.warning("sign-in failed")


BEFORE: list[Processor] = [
    structlog.contextvars.merge_contextvars,
    structlog.stdlib.add_log_level,
    structlog.stdlib.add_logger_name,
    structlog.processors.TimeStamper(fmt="iso", utc=True),
    hide_secrets,
]

structlog.configure(
    processors=[
        structlog.stdlib.filter_by_level,
        *BEFORE,
        structlog.stdlib.PositionalArgumentsFormatter(),
        structlog.processors.StackInfoRenderer(),
        structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
    ],
    logger_factory=structlog.stdlib.LoggerFactory(),
    cache_logger_on_first_use=True,
)


def logging_of(*, level: str, lines: str) -> dict[str, Any]:
    """The logging setting: ``lines`` is "json" for programs or "plain" for people."""
    last: list[Processor] = (
        [structlog.processors.format_exc_info, structlog.processors.JSONRenderer()]
        if lines == "json"
        else [
            structlog.dev.ConsoleRenderer(
                colors=False, exception_formatter=structlog.dev.plain_traceback
            )
        ]
    )
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "lines": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": BEFORE,
                "processors": [structlog.stdlib.ProcessorFormatter.remove_processors_meta, *last],
            }
        },
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "lines"}},
        "root": {"handlers": ["console"], "level": level},
        "loggers": {
            # Both would tell of a request a second time, with its whole address.
            "django.request": {"level": "CRITICAL"},
            "django.server": {"level": "CRITICAL"},
        },
    }
