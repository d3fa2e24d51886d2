"""Tags and filters that every page may use; docs/look.md shows each with an example."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.core.paginator import Page
from django.forms import BoundField, MultiWidget
from django.http import HttpRequest
from django.template import Context
from django.template.loader import render_to_string
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from accounts.access import notices_visible_to
from accounts.models import Role
from accounts.notice_kinds import kinds_for

register = template.Library()

# What each role finds in the bar at the top: the words and the name of the address.
NAVIGATION: Mapping[str, tuple[tuple[str, str], ...]] = {
    Role.OFFICE: (
        ("Today", "compliance:today"),
        ("Month", "visits:month"),
        ("Sites", "sites:list"),
        ("Clients", "sites:clients"),
        ("Actions", "compliance:actions"),
        ("Flags", "compliance:flags"),
        ("Trends", "compliance:trends"),
        ("To place", "visits:inbox"),
        ("Products", "visits:products"),
        ("Applications", "visits:applications"),
        ("People", "accounts:people"),
    ),
    Role.TECHNICIAN: (
        ("My day", "visits:my_day"),
        ("My competences", "accounts:my_competences"),
    ),
    Role.CLIENT_MANAGER: (
        ("Your sites", "compliance:your_sites"),
        ("Actions", "compliance:actions"),
    ),
    Role.AUDITOR: (("The file", "compliance:the_file"),),
}

# Pages without an entry of their own that lie under an entry, where their address does not say so.
BELOW: Mapping[str, tuple[str, ...]] = {
    "compliance:your_sites": ("compliance:decisions",),
    "visits:products": ("visits:guide",),
    "compliance:actions": ("compliance:money_terms", "compliance:ageing"),
    "visits:applications": ("visits:record_rules", "visits:baiting"),
}

# Which words of a state ask for a look, and how urgently; a word that is not here is plain.
TONES: Mapping[str, str] = {
    # late: stopped, wrong or past its day
    "missed": "late",
    "overdue": "late",
    "late": "late",
    "open": "late",
    "failed": "late",
    "expired": "late",
    "lapsed": "late",
    "missing": "late",
    "damaged": "late",
    "all": "late",
    "now": "late",
    "refused": "late",
    "alarm": "late",
    # soon: waits for somebody
    "under_way": "soon",
    "raised": "soon",
    "priced": "soon",
    "declined": "soon",
    "acknowledged": "soon",
    "building": "soon",
    "parked": "soon",
    "due": "soon",
    "due_soon": "soon",
    "expiring": "soon",
    "incomplete": "soon",
    "invited": "soon",
    "full": "soon",
    "part": "soon",
    "soon": "soon",
    "rising": "soon",
    # sound: done, in order
    "closed": "sound",
    "checked": "sound",
    "cleared": "sound",
    "ready": "sound",
    "applied": "sound",
    "current": "sound",
    "complete": "sound",
    "on_time": "sound",
    "sound": "sound",
    "looked": "sound",
    "calm": "sound",
    "falling": "sound",
    "explained": "sound",
    "answered": "sound",
    # unknown: not seen, not reached, no longer meant
    "called_off": "unknown",
    "withdrawn": "unknown",
    "revoked": "unknown",
    "dropped": "unknown",
    "inactive": "unknown",
    "stopped": "unknown",
    "not_reached": "unknown",
    "blocked": "unknown",
    "outside": "unknown",
    "unknown": "unknown",
    "not_read": "unknown",
    "not_yet_known": "unknown",
    "not_known": "unknown",
    "gone": "unknown",
}

ICON_IS_SILENT = SafeString(' aria-hidden="true"')

CURRENCY_SIGNS: Mapping[str, str] = {"GBP": "£", "EUR": "€", "USD": "$"}


@dataclass(frozen=True, slots=True)
class NavigationItem:
    """One entry of the bar. ``current`` is what ``aria-current`` says: page, true or nothing."""

    label: str
    address: str
    current: str


@register.inclusion_tag("components/role_nav.html", takes_context=True)
def role_nav(context: Context) -> dict[str, Any]:
    """The bar's entries for the role of the person who looks; none for strangers. No query."""
    request = context.get("request")
    role = getattr(getattr(request, "user", None), "role", "")
    return {"items": _navigation(request, role) if request else []}


def _navigation(request: HttpRequest, role: str) -> list[NavigationItem]:
    placed = [(label, _address_of(name)) for label, name in NAVIGATION.get(role, ())]
    lies_under = {address: address for _, address in placed if address}
    for _, name in NAVIGATION.get(role, ()):
        for below in BELOW.get(name, ()):
            lies_under[_address_of(below)] = _address_of(name)
    under = max((one for one in lies_under if request.path.startswith(one)), key=len, default="")
    here = lies_under.get(under, "")
    return [
        NavigationItem(label, address, _current(request.path, address, here))
        for label, address in placed
        if address
    ]


@register.inclusion_tag("components/unread_notices.html", takes_context=True)
def unread_notices(context: Context) -> dict[str, Any]:
    """The way to one's notices, and how many of them are new; nothing for roles without any.

    One query, none where there is nothing to show.
    """
    request = context["request"]
    if not kinds_for(request.user.role):
        return {}
    here = reverse("notices:list")
    new = notices_visible_to(request.user).filter(read_at=None).count()
    return {
        "address": here,
        "number": str(new or "") if new < 100 else "99+",
        "current": "page" if request.path == here else "",
    }


def _address_of(name: str) -> str:
    """The address with that name, or nothing while its room has no such page."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""


def _current(path: str, address: str, here: str) -> str:
    if path == address:
        return "page"
    return "true" if address == here else ""


@register.simple_tag
def tag(word: str, label: str = "", tone: str = "") -> SafeString:
    """A state as a small tag: its word, in the outline of its tone.

    ``label`` is what is written where it differs from the word (``get_state_display``).
    """
    return format_html(
        '<span class="tag {}">{}</span>',
        tone or tone_of(word),
        label or str(word).replace("_", " ").capitalize(),
    )


@register.filter
def tone_of(word: str) -> str:
    """The tone of a state: late, soon, sound, unknown or plain."""
    return TONES.get(str(word), "plain")


@register.filter
def day(value: date | datetime | None, zone: str | ZoneInfo | None = None) -> str:
    """A day as "Tue 3 Feb 2026". An instant needs the zone whose day is meant."""
    if value is None or value == "":
        return ""
    if isinstance(value, datetime) and timezone.is_aware(value):
        value = timezone.localtime(value, _zone(zone))
    return f"{value:%a} {value.day} {value:%b %Y}"


@register.simple_tag(takes_context=True)
def local_time(
    context: Context, at: datetime | None, zone: str | ZoneInfo | None = None, show: str = "both"
) -> SafeString | str:
    """An instant in a site's zone, which is named where it is not the reader's own.

    ``show`` is both (day and time) or time. Where the reader is not known (papers, parts included
    without the request) the zone is always named.
    """
    if at is None or at == "":
        return ""
    local = timezone.localtime(at, _zone(zone))
    words = f"{local:%H:%M}" if show == "time" else f"{day(local.date())}, {local:%H:%M}"
    reader = getattr(getattr(context.get("request"), "user", None), "time_zone", None)
    here = str(local.tzinfo)
    if here != reader:
        words += f" ({_zone_name(here)})"
    return format_html(
        '<time datetime="{}">{}</time>', f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}", words
    )


def _zone(zone: str | ZoneInfo | None) -> Any:
    if isinstance(zone, str) and zone:
        return ZoneInfo(zone)
    return zone or timezone.get_current_timezone()


def _zone_name(key: str) -> str:
    """A zone in plain words: "Lisbon time" for Europe/Lisbon."""
    place = key.rpartition("/")[2].replace("_", " ")
    return place if place == "UTC" else f"{place} time"


@register.filter
def money(amount: Decimal | int | float | None, currency: str = "GBP") -> str:
    """An amount as "£1,234.50", with a real minus; other currencies as "CHF 1,234.50"."""
    if amount is None or amount == "":
        return ""
    sum_of = Decimal(str(amount))
    sign = "−" if sum_of < 0 else ""
    before = CURRENCY_SIGNS.get(currency, f"{currency} ")
    return f"{sign}{before}{abs(sum_of):,.2f}"


@register.simple_tag
def icon(name: str, label: str = "", css_class: str = "") -> SafeString:
    """One of the drawings in templates/icons; silent unless it gets a label of its own."""
    return format_html(
        '<svg class="icon{}" viewBox="0 0 24 24" width="20" height="20"{}>{}</svg>',
        f" {css_class}" if css_class else "",
        format_html(' role="img" aria-label="{}"', label) if label else ICON_IS_SILENT,
        _drawing(name),
    )


@cache
def _drawing(name: str) -> SafeString:
    return SafeString(render_to_string(f"icons/{name}.svg").strip())


@register.filter
def error_anchor(field: BoundField) -> str:
    """The id of what an error's link leads to: the field's input, or the first of several."""
    found = field.id_for_label
    if found and not isinstance(field.field.widget, MultiWidget):
        return found
    return f"{field.auto_id}_0"


@register.filter
def page_numbers(page: Page[Any]) -> list[int | None]:
    """Which page numbers to show: the ends and those around this one, ``None`` for a gap."""
    numbers = page.paginator.get_elided_page_range(page.number, on_each_side=1, on_ends=1)
    return [number if isinstance(number, int) else None for number in numbers]
