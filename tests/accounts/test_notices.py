"""What a person is told: once, in the list and by letter as wished, and only while it is seen."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from accounts.access import notices_visible_to
from accounts.models import Letter, Notice, NoticeWish, TrailEntry
from accounts.notice_kinds import kinds_for
from accounts.refusals import Unusable
from accounts.services.notices import mark_all_read, mark_read, notify, set_wishes
from sites.services.grants import limit_manager
from tests.builders.accounts import make_manager, make_office, make_technician
from tests.builders.sites import make_site

pytestmark = pytest.mark.django_db

AT = datetime(2026, 3, 10, 9, 0, tzinfo=UTC)


def tell(*people, key="answer:1", kind="answer", **given) -> int:
    facts = {"subject": "The office writes about the pipe chase", "path": "/sites/", "at": AT}
    return notify(people, kind=kind, key=key, **{**facts, **given})


# --- telling ------------------------------------------------------------------------------------


def test_at_once_writes_one_letter_with_the_notice(manager):
    assert tell(manager, text="We come on Tuesday.") == 1

    notice, letter = Notice.objects.get(), Letter.objects.get()
    assert (notice.person, notice.read_at, notice.mailed_at is None) == (manager, None, False)
    assert (letter.to, letter.subject) == (manager.email, notice.subject)
    assert "We come on Tuesday." in letter.text
    assert reverse("notices:open", args=[notice.pk]) in letter.text


def test_nobody_is_told_the_same_twice(manager):
    other = make_manager()

    assert (tell(manager), tell(manager), tell(manager, other)) == (1, 0, 1)
    assert (Notice.objects.count(), Letter.objects.count()) == (2, 2)


@pytest.mark.parametrize("how", ["daily", "list"])
def test_who_wishes_otherwise_gets_no_letter_at_once(manager, how):
    set_wishes({"answer": how}, by=manager)

    tell(manager)

    assert (Notice.objects.get().how, Letter.objects.count()) == (how, 0)


def test_the_usual_way_is_by_kind_and_role(manager, office):
    tell(manager, office, kind="decided", key="decided:1")
    tell(manager, office, kind="answer", key="answer:1")

    told = set(Notice.objects.values_list("person__role", "kind", "how"))
    assert told == {
        ("office", "decided", "daily"),
        ("client_manager", "decided", "daily"),
        ("client_manager", "answer", "at_once"),
    }


def test_a_kind_that_nobody_declared_is_a_mistake(manager):
    with pytest.raises(KeyError):
        tell(manager, kind="weather")


def test_a_crash_leaves_neither_notice_nor_letter(manager):
    @transaction.atomic
    def tell_and_die() -> None:
        tell(manager)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        tell_and_die()

    assert (Notice.objects.count(), Letter.objects.count()) == (0, 0)


def test_a_long_subject_is_cut_at_a_word(manager):
    tell(manager, subject="seal " * 80)

    assert Notice.objects.get().subject.endswith("seal…")
    assert len(Notice.objects.get().subject) <= 200


@pytest.mark.parametrize("people", [2, 20])
def test_telling_many_costs_one_query_for_each_letter(people, django_assert_num_queries):
    told = [make_manager() for _ in range(people)]

    # A savepoint and its end, the wishes, the notices, which are new, and the letters.
    with django_assert_num_queries(5 + people):
        tell(*told)


# --- reading ------------------------------------------------------------------------------------


def test_opening_a_notice_leads_there_and_takes_it_for_read(client, manager):
    tell(manager, path="/sites/?q=oven")
    notice = Notice.objects.get()
    client.force_login(manager)

    answer = client.get(reverse("notices:open", args=[notice.pk]))

    notice.refresh_from_db()
    assert (answer.status_code, answer.url) == (302, "/sites/?q=oven")
    assert notice.read_at is not None


def test_the_first_reading_counts(manager):
    tell(manager)
    pk = Notice.objects.get().pk

    mark_read(pk, by=manager, at=AT)
    mark_read(pk, by=manager, at=AT + timedelta(hours=1))

    assert Notice.objects.get().read_at == AT


def test_the_bar_says_how_many_are_new_until_they_are_read(client, manager):
    for number in range(3):
        tell(manager, key=f"answer:{number}")
    client.force_login(manager)
    page = client.get(reverse("notices:list")).content.decode()
    assert '<span class="figure strong">3</span>' in page

    client.post(reverse("notices:read_all"))

    assert Notice.objects.filter(read_at=None).count() == 0
    assert "figure strong" not in client.get(reverse("notices:list")).content.decode()


def test_what_came_while_the_page_was_open_stays_new(client, manager):
    tell(manager, key="answer:1")
    seen = timezone.now()
    tell(manager, key="answer:2")
    client.force_login(manager)

    client.post(reverse("notices:read_all"), {"up_to": seen.isoformat()})

    assert Notice.objects.get(read_at=None).key == "answer:2"


def test_reading_all_reads_nobody_elses(manager):
    other = make_manager()
    tell(manager, other)

    assert mark_all_read(by=manager) == 1
    assert Notice.objects.get(person=other).read_at is None


def test_another_persons_notice_is_not_there(client, manager):
    tell(manager)
    client.force_login(make_manager(client=manager.client))

    answer = client.get(reverse("notices:open", args=[Notice.objects.get().pk]))

    assert answer.status_code == 404
    assert Notice.objects.get().read_at is None


def test_of_a_site_that_may_no_longer_be_seen_nothing_is_shown(client, manager):
    site, other = make_site(client=manager.client), make_site(client=manager.client)
    tell(manager, site_id=site.pk, subject="Seal the secret gap")
    client.force_login(manager)
    assert "secret gap" in client.get(reverse("notices:list")).content.decode()

    limit_manager(manager.pk, by=make_office(), sites=[other])

    page = client.get(reverse("notices:list")).content.decode()
    assert "secret gap" not in page
    assert "figure strong" not in page
    assert client.get(reverse("notices:open", args=[Notice.objects.get().pk])).status_code == 404
    assert not notices_visible_to(manager).exists()


def test_a_role_that_is_told_nothing_has_no_entry_in_the_bar(client, manager):
    for person, shown in ((manager, True), (make_technician(), False)):
        client.force_login(person)
        page = client.get(reverse("accounts:tokens")).content.decode()
        assert (f'href="{reverse("notices:list")}"' in page) is shown


# --- wishing ------------------------------------------------------------------------------------


def test_everybody_chooses_for_themselves_and_the_trail_says_so(client, manager):
    client.force_login(manager)
    usual = {kind.key: kind.usual["client_manager"] for kind in kinds_for("client_manager")}

    answer = client.post(reverse("notices:wishes"), {**usual, "answer": "list"})

    assert answer.status_code == 302
    wish = NoticeWish.objects.get()
    assert (wish.person, wish.kind, wish.how) == (manager, "answer", "list")
    assert TrailEntry.objects.get(verb="notices.wished").facts["changed"] == {
        "answer": ["at_once", "list"]
    }


def test_the_same_wish_again_changes_nothing(manager, trail):
    set_wishes({"answer": "list"}, by=manager)
    set_wishes({"answer": "list"}, by=manager)

    assert trail() == ["notices.wished"]


@pytest.mark.parametrize("wishes", [{"question": "daily"}, {"answer": "by_pigeon"}])
def test_what_cannot_be_wished_is_refused_and_changes_nothing(manager, wishes, trail):
    """Questions go to the office: a manager is not told of them in any way."""
    with pytest.raises(Unusable):
        set_wishes(wishes, by=manager)

    assert (NoticeWish.objects.count(), trail()) == (0, [])


def test_the_page_says_if_the_summary_is_stopped(client, manager):
    client.force_login(manager)
    assert "is stopped" not in client.get(reverse("notices:wishes")).content.decode()

    manager.wants_digest = False
    manager.save()

    assert "is stopped" in client.get(reverse("notices:wishes")).content.decode()


@pytest.mark.parametrize("role", ["office", "client_manager"])
def test_no_label_on_the_page_of_wishes_holds_another(role):
    labels = [kind.words.lower() for kind in kinds_for(role)]

    assert [(a, b) for a in labels for b in labels if a != b and a in b] == []
