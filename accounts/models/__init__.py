"""People, clients, rights and the trail."""

from accounts.models.auditor_pass import AuditorPass
from accounts.models.client import Branch, Client, Company
from accounts.models.competence import Competence, CompetenceKind
from accounts.models.invitation import Invitation
from accounts.models.letter import Letter
from accounts.models.notice import Notice, NoticeWish
from accounts.models.trail import TrailEntry, TrailStream
from accounts.models.user import Role, User

__all__ = [
    "AuditorPass",
    "Branch",
    "Client",
    "Company",
    "Competence",
    "CompetenceKind",
    "Invitation",
    "Letter",
    "Notice",
    "NoticeWish",
    "Role",
    "TrailEntry",
    "TrailStream",
    "User",
]
