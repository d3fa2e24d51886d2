"""Actions, decisions, sign-offs, flags, digests and site files."""

from compliance.models.action import ActionOption, ActionPhoto, CorrectiveAction
from compliance.models.decision import Decision, SignOff
from compliance.models.digest import Digest
from compliance.models.flag import Flag
from compliance.models.site_file import SiteFile

__all__ = [
    "ActionOption",
    "ActionPhoto",
    "CorrectiveAction",
    "Decision",
    "Digest",
    "Flag",
    "SignOff",
    "SiteFile",
]
