"""What only the machine itself can do, because nobody has signed in yet."""

from django.db import transaction

from accounts.models import Role, User
from accounts.refusals import Unusable
from accounts.trail import record


@transaction.atomic
def add_administrator(email: str, *, name: str, password: str) -> User:
    """Make an office person who may manage people and settings, able to sign in at once.

    The password's strength is the caller's to check. Raises ``Unusable`` when the e-mail address
    already belongs to somebody.
    """
    if User.objects.filter(email__iexact=email).exists():
        raise Unusable("Somebody with this e-mail address is already here.", field="email")
    person = User.objects.create_user(
        email, password, name=name, role=Role.OFFICE, is_administrator=True
    )
    record(None, "administrator.added", person)
    return person
