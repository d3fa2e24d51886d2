"""Actions, what they cost, decisions, sign-offs, flags, trends, digests and papers."""

from compliance.models.action import (
    ActionMessage,
    ActionOption,
    ActionPhoto,
    CorrectiveAction,
)
from compliance.models.counting import CountSeries, MonthCount, SiteCounted
from compliance.models.decision import Decision, SignOff
from compliance.models.decision_paper import DecisionPaper
from compliance.models.digest import Digest
from compliance.models.flag import Flag
from compliance.models.money_terms import MoneyTerms
from compliance.models.remedy import Remedy
from compliance.models.review_pack import ReviewPack
from compliance.models.site_file import SiteFile
from compliance.models.threshold import ActionThreshold, Breach
from compliance.models.trend import Alarm, JudgedMonth, PlaceMonth, TrendReview
from compliance.models.work import PastWorkVisit, SealedGap

__all__ = [
    "ActionMessage",
    "ActionOption",
    "ActionPhoto",
    "ActionThreshold",
    "Alarm",
    "Breach",
    "CorrectiveAction",
    "CountSeries",
    "Decision",
    "DecisionPaper",
    "Digest",
    "Flag",
    "JudgedMonth",
    "MoneyTerms",
    "MonthCount",
    "PastWorkVisit",
    "PlaceMonth",
    "Remedy",
    "ReviewPack",
    "SealedGap",
    "SignOff",
    "SiteCounted",
    "SiteFile",
    "TrendReview",
]
