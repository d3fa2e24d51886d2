"""Visits and what they record."""

from visits.models.amendment import Amendment
from visits.models.baiting import BaitingReview
from visits.models.calendar import CalendarAddress, CalendarEntry
from visits.models.finding import Finding, FindingPhoto, RemedyKind, WhoseMove
from visits.models.follow_up import FollowUp
from visits.models.guide import GuideLine
from visits.models.label import LabelRate, MeasureUnit, PlaceKind, ProductLabel
from visits.models.look import Look
from visits.models.not_reached import NotReached
from visits.models.operation import Operation, ParkedOperation
from visits.models.pest import Pest
from visits.models.photo import ParkedPhoto, PhotoPart
from visits.models.product import Product
from visits.models.reading import Reading, ReadingCount
from visits.models.record_rules import ChosenRules
from visits.models.stock import Batch, BatchCount, Carried
from visits.models.trap import TrapReport, TrapSender
from visits.models.treatment import Treatment
from visits.models.visit import Visit

__all__ = [
    "Amendment",
    "BaitingReview",
    "Batch",
    "BatchCount",
    "CalendarAddress",
    "CalendarEntry",
    "Carried",
    "ChosenRules",
    "Finding",
    "FindingPhoto",
    "FollowUp",
    "GuideLine",
    "LabelRate",
    "Look",
    "MeasureUnit",
    "NotReached",
    "Operation",
    "ParkedOperation",
    "ParkedPhoto",
    "Pest",
    "PhotoPart",
    "PlaceKind",
    "Product",
    "ProductLabel",
    "Reading",
    "ReadingCount",
    "RemedyKind",
    "TrapReport",
    "TrapSender",
    "Treatment",
    "Visit",
    "WhoseMove",
]
