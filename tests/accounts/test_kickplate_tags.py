from datetime import UTC, date, datetime
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django import forms
from django.core.paginator import Paginator
from django.template import Context, Template
from django.test import RequestFactory

from accounts.models import Role
from accounts.templatetags import kickplate

LATE_EVENING = datetime(2026, 7, 14, 23, 30, tzinfo=UTC)


def request_by(role: str, path: str = "/", time_zone: str = "Europe/London"):
    request = RequestFactory().get(path)
    request.user = SimpleNamespace(role=role, time_zone=time_zone)
    return request


def write(template: str, **context) -> str:
    return Template(template).render(Context(context))


@pytest.mark.parametrize(
    ("value", "zone", "words"),
    [
        (date(2026, 2, 3), None, "Tue 3 Feb 2026"),
        (date(2028, 2, 29), None, "Tue 29 Feb 2028"),
        (LATE_EVENING, "UTC", "Tue 14 Jul 2026"),
        (LATE_EVENING, "Europe/London", "Wed 15 Jul 2026"),
        (None, None, ""),
    ],
    ids=["day", "leap day", "instant", "instant past midnight in its zone", "nothing"],
)
def test_a_day_is_written_out(value, zone, words):
    assert kickplate.day(value, zone) == words


@pytest.mark.parametrize(
    ("reader", "words"),
    [
        ("Europe/Lisbon", "Wed 15 Jul 2026, 00:30"),
        ("Europe/London", "Wed 15 Jul 2026, 00:30 (Lisbon time)"),
    ],
    ids=["the reader's own", "another"],
)
def test_a_zone_is_named_where_it_is_not_the_readers_own(reader, words):
    html = write(
        "{% local_time at 'Europe/Lisbon' %}",
        at=LATE_EVENING,
        request=request_by(Role.OFFICE, time_zone=reader),
    )

    assert html == f'<time datetime="2026-07-14T23:30:00Z">{words}</time>'


def test_a_zone_is_named_where_the_reader_is_not_known():
    html = write("{% local_time at 'America/New_York' show='time' %}", at=LATE_EVENING)

    assert ">19:30 (New York time)<" in html


def test_no_instant_is_no_words():
    assert write("{% local_time at 'UTC' %}", at=None) == ""


@pytest.mark.parametrize(
    ("amount", "currency", "words"),
    [
        (Decimal("1234.5"), "GBP", "£1,234.50"),
        (Decimal("-3"), "EUR", "−€3.00"),
        (Decimal("0"), "CHF", "CHF 0.00"),
        (None, "GBP", ""),
    ],
)
def test_money_has_its_sign_and_two_decimals(amount, currency, words):
    assert kickplate.money(amount, currency) == words


@pytest.mark.parametrize(
    ("tag", "html"),
    [
        ("{% tag 'under_way' %}", '<span class="tag soon">Under way</span>'),
        ("{% tag 'open' tone='plain' %}", '<span class="tag plain">Open</span>'),
        ("{% tag 'declined' 'Turned down' %}", '<span class="tag soon">Turned down</span>'),
        ("{% tag 'kitchen' %}", '<span class="tag plain">Kitchen</span>'),
        ("{% tag 'closed' words %}", '<span class="tag sound">&lt;b&gt;</span>'),
    ],
    ids=["its own words", "another tone", "other words", "a word without a tone", "escaped"],
)
def test_a_state_is_a_word_in_the_outline_of_its_tone(tag, html):
    assert write(tag, words="<b>") == html


def test_an_icon_is_silent_unless_it_says_something():
    assert 'aria-hidden="true"' in write("{% icon 'plus' %}")
    assert 'role="img" aria-label="Late &lt;"' in write("{% icon 'stop' label=it %}", it="Late <")


def test_the_bar_marks_the_page_and_the_section_one_is_in():
    on_page = write("{% role_nav %}", request=request_by(Role.OFFICE, "/people/"))
    below = write("{% role_nav %}", request=request_by(Role.OFFICE, "/people/invite/"))

    assert '<a href="/people/" aria-current="page">People</a>' in " ".join(on_page.split())
    assert '<a href="/people/" aria-current="true">People</a>' in " ".join(below.split())


@pytest.mark.parametrize(
    ("path", "entry"),
    [
        ("/visits/guide/try/", "Products"),
        ("/visits/record-rules/", "Applications"),
        ("/visits/bait/", "Applications"),
        ("/visits/follow-ups/", "Month"),
    ],
)
def test_the_bar_marks_the_section_of_a_page_without_an_entry(path, entry):
    bar = write("{% role_nav %}", request=request_by(Role.OFFICE, path))

    assert f'aria-current="true">{entry}</a>' in " ".join(bar.split())


def test_strangers_get_no_bar():
    request = RequestFactory().get("/")

    assert write("{% role_nav %}", request=request).strip() == ""


class EveryWidget(forms.Form):
    text = forms.CharField()
    choice = forms.ChoiceField(choices=[("a", "A")])
    radio = forms.ChoiceField(choices=[("a", "A")], widget=forms.RadioSelect)
    boxes = forms.MultipleChoiceField(choices=[("a", "A")], widget=forms.CheckboxSelectMultiple)
    instant = forms.SplitDateTimeField()
    parts = forms.DateField(widget=forms.SelectDateWidget(years=[2026]))
    box = forms.BooleanField()


@pytest.mark.parametrize("name", EveryWidget.base_fields)
def test_the_link_of_an_error_leads_to_an_input(name):
    field = EveryWidget(data={})[name]

    assert f'id="{kickplate.error_anchor(field)}"' in str(field)


def test_a_long_list_shows_its_ends_and_the_pages_around_this_one():
    page = Paginator(range(1000), 50).page(10)

    assert kickplate.page_numbers(page) == [1, None, 9, 10, 11, None, 20]
