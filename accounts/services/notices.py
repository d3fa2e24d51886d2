"""Telling people: in the list of notices, and by letter where they wish it.

A notice and its letter are written in one transaction, so neither is there without the other; the
letter queue sees to a mail server that is away. The daily summary takes up what is to come daily.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.db import transaction
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone

from accounts.access import notices_visible_to
from accounts.models import Notice, NoticeWish, User
from accounts.notice_kinds import kind_of, kinds_for
from accounts.refusals import Unusable
from accounts.services.letters import write_letter
from accounts.trail import record

LONGEST_SUBJECT = 200


@transaction.atomic
def notify(
    people: Iterable[User],
    *,
    kind: str,
    key: str,
    subject: str,
    path: str,
    at: datetime,
    text: str = "",
    site_id: UUID | None = None,
    now: datetime | None = None,
) -> int:
    """Tell each of these people once, and say how many had not been told yet.

    Whoever was told under the same ``key`` is left alone. People whose role is not told of this
    kind are passed over. Three queries, and one for each letter. Raises ``KeyError`` for a kind
    that nobody declared.
    """
    told = kind_of(kind)
    people = [person for person in people if person.role in told.usual]
    if not people:
        return 0
    now = now or timezone.now()
    wished = _wishes_of(people, kind)
    notices = [
        Notice(
            person=person,
            kind=kind,
            key=key,
            subject=_shortened(subject),
            text=text,
            path=path,
            site_id=site_id,
            at=at,
            how=(how := wished.get(person.pk, told.usual[person.role])),
            mailed_at=now if how == Notice.How.AT_ONCE else None,
        )
        for person in people
    ]
    Notice.objects.bulk_create(notices, ignore_conflicts=True)
    ours = {notice.pk for notice in notices}
    new = set(Notice.objects.filter(pk__in=ours).values_list("pk", flat=True))
    for notice in notices:
        if notice.pk in new and notice.how == Notice.How.AT_ONCE:
            _write(notice)
    return len(new)


def _wishes_of(people: Sequence[User], kind: str) -> dict[UUID, str]:
    wishes = NoticeWish.objects.filter(person__in=people, kind=kind)
    return dict(wishes.values_list("person_id", "how"))


def _write(notice: Notice) -> None:
    context = {
        "notice": notice,
        "person": notice.person,
        "link": settings.BASE_URL + reverse("notices:open", args=[notice.pk]),
        "wishes": settings.BASE_URL + reverse("notices:wishes"),
    }
    write_letter(
        f"notice:{notice.pk}",
        to=notice.person.email,
        subject=notice.subject,
        text=render_to_string("accounts/mail/notice.txt", context),
    )


def mark_read(notice_id: UUID, *, by: User, at: datetime | None = None) -> Notice:
    """Note that a person has read a notice of theirs; the first time counts.

    Raises ``Notice.DoesNotExist`` for anybody else's, and where its site may no longer be seen.
    """
    notice = notices_visible_to(by).get(pk=notice_id)
    Notice.objects.filter(pk=notice.pk, read_at=None).update(read_at=at or timezone.now())
    return notice


def mark_all_read(*, by: User, up_to: datetime | None = None, at: datetime | None = None) -> int:
    """Note that a person has read all their notices, and say how many were new.

    With ``up_to`` only those that were there at that instant: what came while the page was open
    stays new.
    """
    at = at or timezone.now()
    unread = Notice.objects.filter(person=by, read_at=None, created_at__lte=up_to or at)
    return unread.update(read_at=at)


@transaction.atomic
def set_wishes(wishes: Mapping[str, str], *, by: User) -> dict[str, list[str]]:
    """Say for oneself how to be told of each kind; returns what changed as ``{kind: [old, new]}``.

    Raises ``Unusable`` for a kind that people of this role are not told, and for an unknown way.
    """
    User.objects.select_for_update(no_key=True).get(pk=by.pk)
    known = {kind.key: kind.usual[by.role] for kind in kinds_for(by.role)}
    held = {**known, **dict(NoticeWish.objects.filter(person=by).values_list("kind", "how"))}
    for kind, how in wishes.items():
        if kind not in known or how not in Notice.How.values:
            raise Unusable("Choose one of the ways for each kind.")
    changed = {kind: [held[kind], how] for kind, how in wishes.items() if held[kind] != how}
    for kind, (_, how) in changed.items():
        NoticeWish.objects.update_or_create(person=by, kind=kind, defaults={"how": how})
    if changed:
        record(by, "notices.wished", by, changed=changed)
    return changed


def _shortened(text: str) -> str:
    text = " ".join(text.split())
    if len(text) <= LONGEST_SUBJECT:
        return text
    return f"{text[: LONGEST_SUBJECT - 1].rsplit(' ', 1)[0]}…"
