"""What a person is told, once, and how each person wants to be told."""

from django.db import models

from accounts.models.base import Record
from accounts.models.user import User


class How(models.TextChoices):
    """Every notice is in the list; this is what comes besides."""

    AT_ONCE = "at_once", "By e-mail at once"
    DAILY = "daily", "In the daily summary"
    LIST = "list", "Only in the list"


class Notice(Record):
    """One thing that one person is told. The same ``key`` is never told a person twice.

    ``at`` is the instant of what is told, ``how`` what the person wished at that time,
    ``mailed_at`` when its letter was written, or the summary that names it. ``path`` is where it
    can be looked at, within this installation. ``site_id`` is the site that it is about, which
    belongs to a later app: a notice is shown only while the person may see that site.
    """

    How = How

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="notices")
    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=120)
    subject = models.CharField(max_length=200)
    text = models.TextField(blank=True)
    path = models.CharField(max_length=200)
    site_id = models.UUIDField(null=True, blank=True)
    at = models.DateTimeField()
    how = models.CharField(max_length=10, choices=How.choices)
    mailed_at = models.DateTimeField(null=True, blank=True)
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "key"], name="notice_once"),
            models.CheckConstraint(
                condition=models.Q(how__in=How.values), name="notice_how_is_known"
            ),
            models.CheckConstraint(
                condition=~models.Q(how="at_once") | models.Q(mailed_at__isnull=False),
                name="notice_at_once_has_its_letter",
            ),
            models.CheckConstraint(
                condition=~models.Q(how="list") | models.Q(mailed_at__isnull=True),
                name="notice_only_listed_is_not_mailed",
            ),
        ]
        indexes = [
            models.Index(
                fields=["person"],
                condition=models.Q(read_at__isnull=True),
                name="notice_unread",
            ),
            models.Index(fields=["key"], name="notice_key"),
        ]

    def __str__(self) -> str:
        return self.subject


class NoticeWish(Record):
    """How a person wants to be told of one kind of thing, where it is not the usual way."""

    person = models.ForeignKey(User, on_delete=models.CASCADE, related_name="notice_wishes")
    kind = models.CharField(max_length=40)
    how = models.CharField(max_length=10, choices=How.choices)

    class Meta:
        verbose_name_plural = "notice wishes"
        constraints = [
            models.UniqueConstraint(fields=["person", "kind"], name="notice_wish_once"),
            models.CheckConstraint(
                condition=models.Q(how__in=How.values), name="notice_wish_how_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind}: {self.get_how_display().lower()}"
