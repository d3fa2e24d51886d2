"""A person who signs in, and the one role that person has."""

from typing import Any

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Lower

from accounts.ids import uuid7
from accounts.models.client import Branch, Client


class Role(models.TextChoices):
    OFFICE = "office", "Office"
    TECHNICIAN = "technician", "Technician"
    CLIENT_MANAGER = "client_manager", "Client manager"
    AUDITOR = "auditor", "Auditor"


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> "User":
        """A person with a password, or without a usable one until an invitation is taken up."""
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, email: str | None) -> "User":
        return self.get(email__iexact=email)


class User(AbstractBaseUser):
    """A person. E-mail is kept in lower case and is the name to sign in by."""

    Role = Role

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    email = models.EmailField("e-mail", unique=True)
    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    role = models.CharField(max_length=20, choices=Role.choices)
    is_administrator = models.BooleanField(
        default=False, help_text="May manage people and settings (office only)."
    )
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.PROTECT, related_name="people"
    )
    job_title = models.CharField(max_length=80, blank=True)
    branches = models.ManyToManyField(
        Branch, blank=True, help_text="None chosen means all branches (office)."
    )
    time_zone = models.CharField(max_length=64, default="Europe/London")
    wants_digest = models.BooleanField("daily summary by e-mail", default=True)
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    USERNAME_FIELD = "email"
    EMAIL_FIELD = "email"
    REQUIRED_FIELDS = ["name", "role"]

    objects = UserManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(Lower("email"), name="user_email_once"),
            models.CheckConstraint(
                condition=models.Q(role="client_manager", client__isnull=False)
                | (~models.Q(role="client_manager") & models.Q(client__isnull=True)),
                name="user_client_goes_with_role",
                violation_error_message="A client manager belongs to a client; nobody else does.",
            ),
            models.CheckConstraint(
                condition=models.Q(is_administrator=False) | models.Q(role="office"),
                name="user_administrator_is_office",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_office(self) -> bool:
        return self.role == Role.OFFICE

    @property
    def is_technician(self) -> bool:
        return self.role == Role.TECHNICIAN

    @property
    def is_client_manager(self) -> bool:
        return self.role == Role.CLIENT_MANAGER

    @property
    def is_auditor(self) -> bool:
        return self.role == Role.AUDITOR

    def get_full_name(self) -> str:
        return self.name

    def get_short_name(self) -> str:
        return self.name
