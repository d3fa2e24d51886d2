"""The people of the demo, all invented, and how they come to be on file."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.urls import reverse

from accounts.models import Client, CompetenceKind, Letter, Role, User
from accounts.services.company import change_company
from accounts.services.competences import add_competence, add_competence_kind
from accounts.services.people import invite_person, join

PASSPHRASE = "bristle strips & sealed chases"  # noqa: S105  # public: loaded off production only
COMPANY = {
    "name": "Fennimore & Tull Site Hygiene",
    "address": "4 Ropewalk Yard\nPort Marlow",
    "phone": "01632 960100",
    "email": "office@fennimore-tull.example",
    "registration": "PM-PC 0417 (invented)",
}
ADMINISTRATOR = ("marguerite@fennimore-tull.example", "Marguerite Fennimore")
COORDINATOR = ("cyril@fennimore-tull.example", "Cyril Tull")
TECHNICIANS = (
    ("tamsin@fennimore-tull.example", "Tamsin Oakley"),
    ("rufus@fennimore-tull.example", "Rufus Pellow"),
    ("odile@fennimore-tull.example", "Odile Marsh"),
    ("jory@fennimore-tull.example", "Jory Penhale"),
    ("bea@fennimore-tull.example", "Bea Quillfeather"),
)
AUDITOR = ("linus@thackeray-audits.example", "Linus Thackeray")

LICENCE = "Licence to apply pest-control products"
HEIGHTS = "Working at heights"
# The days on which a licence of this technician ends are what the office has to see coming.
LAPSING = "odile@fennimore-tull.example"


@dataclass(frozen=True)
class Cast:
    """The people who keep the record."""

    administrator: User
    coordinator: User
    technicians: tuple[User, ...]
    auditor: User
    licence: CompetenceKind


def company_and_people(*, today: date) -> Cast:
    """Put the company, its people and their licences on file, each with the demo's passphrase."""
    email, name = ADMINISTRATOR
    administrator = User.objects.create_user(
        email, password=PASSPHRASE, name=name, role=Role.OFFICE, is_administrator=True
    )
    change_company(by=administrator, **COMPANY)
    coordinator = _joined(*COORDINATOR, by=administrator, role=Role.OFFICE, title="Coordinator")
    technicians = tuple(
        _joined(*one, by=administrator, role=Role.TECHNICIAN, title="Technician")
        for one in TECHNICIANS
    )
    auditor = _joined(*AUDITOR, by=administrator, role=Role.AUDITOR, title="Food safety auditor")
    licence = add_competence_kind(LICENCE, by=administrator, issuer="Port Marlow Licensing (demo)")
    heights = add_competence_kind(HEIGHTS, by=administrator, issuer="Port Marlow Training (demo)")
    for number, technician in enumerate(technicians, start=1):
        lapses = 21 if technician.email == LAPSING else 300 + 40 * number
        add_competence(
            technician.pk,
            by=administrator,
            kind=licence,
            number=f"DEMO-L{number:03}",
            valid_from=today - timedelta(days=900),
            valid_until=today + timedelta(days=lapses),
        )
        if number % 2:
            add_competence(
                technician.pk,
                by=administrator,
                kind=heights,
                number=f"DEMO-H{number:03}",
                valid_from=today - timedelta(days=500),
                valid_until=today + timedelta(days=595),
            )
    return Cast(administrator, coordinator, technicians, auditor, licence)


def manager_of(client: Client, *, email: str, name: str, by: User) -> User:
    """The person who decides for a client."""
    return _joined(email, name, by=by, role=Role.CLIENT_MANAGER, title="Estates", client=client)


def _joined(
    email: str, name: str, *, by: User, role: str, title: str, client: Client | None = None
) -> User:
    """Somebody who was invited and took the invitation up.

    The letter is taken out of the queue: it would reach nobody, and its link is used.
    """
    person = invite_person(email, by=by, name=name, role=role, job_title=title, client=client)
    letter = Letter.objects.get(to=person.email, key__startswith="invitation:")
    before = settings.BASE_URL + reverse("accounts:join", args=["-"]).partition("-")[0]
    secret = letter.text.partition(before)[2].split()[0].strip("/")
    letter.delete()
    return join(secret, password=PASSPHRASE)
