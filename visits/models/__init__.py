"""Visits and what they record."""

from visits.models.amendment import Amendment
from visits.models.finding import Finding, FindingPhoto, RemedyKind, WhoseMove
from visits.models.look import Look
from visits.models.not_reached import NotReached
from visits.models.operation import Operation, ParkedOperation
from visits.models.pest import Pest
from visits.models.photo import ParkedPhoto, PhotoPart
from visits.models.product import Product
from visits.models.reading import Reading, ReadingCount
from visits.models.treatment import Treatment
from visits.models.visit import Visit

__all__ = [
    "Amendment",
    "Finding",
    "FindingPhoto",
    "Look",
    "NotReached",
    "Operation",
    "ParkedOperation",
    "ParkedPhoto",
    "Pest",
    "PhotoPart",
    "Product",
    "Reading",
    "ReadingCount",
    "RemedyKind",
    "Treatment",
    "Visit",
    "WhoseMove",
]
