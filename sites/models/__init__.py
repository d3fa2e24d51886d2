"""Sites, contracts, zones, plans, monitors, documents and photos."""

from sites.models.contract import Contract, ServiceLine, VisitKind
from sites.models.document import Document
from sites.models.grant import PassSite, SiteGrant
from sites.models.imports import ImportJob
from sites.models.monitor import Monitor
from sites.models.photo import Photo
from sites.models.plan import SitePlan
from sites.models.site import AccessWindow, Contact, Site
from sites.models.zone import Boundary, Checkpoint, Height, Zone

__all__ = [
    "AccessWindow",
    "Boundary",
    "Checkpoint",
    "Contact",
    "Contract",
    "Document",
    "Height",
    "ImportJob",
    "Monitor",
    "PassSite",
    "Photo",
    "ServiceLine",
    "Site",
    "SiteGrant",
    "SitePlan",
    "VisitKind",
    "Zone",
]
