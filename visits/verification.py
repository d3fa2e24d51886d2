"""Recomputing the seals of visits from what is stored, to see whether anything was changed.

Three things are asked of every closed visit: is the seal the hash of the sealed text after the
seal before it; do the stored rows still say what the sealed text says; and does the trail, a chain
of its own, know of the same seal. Amendments are chained to their visit's seal in the same way.
"""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from accounts.models import TrailEntry
from accounts.sealing import NOTHING_BEFORE, canonical, chained, digest, plain
from sites.models import Photo, Site
from visits.models import Amendment, Visit
from visits.visit_record import FORMS, Rows, facts_of, rows_of, without_words

BATCH = 100
PARTS = {
    "visit": "when and how it was made",
    "site": "its site",
    "technician": "its technician",
    "contact": "who signed",
    "summary": "the summary",
    "looks": "what was looked at",
    "readings": "the readings",
    "findings": "the findings",
    "not_reached": "what was not reached",
    "treatments": "the treatments",
}


@dataclass(frozen=True, slots=True)
class Break:
    """Where a seal does not hold, and how."""

    visit_id: UUID
    seal_number: int | None
    what: str


def breaks_of_site(site: Site, *, with_photos: bool = True) -> list[Break]:
    """Every way in which the seals of a site do not hold, in the order of its seals.

    About a dozen queries per hundred visits; ``with_photos`` also reads every photo's file.
    """
    found: list[Break] = []
    visits = list(
        Visit.objects.filter(site=site)
        .exclude(seal="", seal_number=None)
        .select_related("site__client", "line", "technician")
        .order_by("seal_number", "pk")
    )
    expected, number = NOTHING_BEFORE, 0
    for visit in visits:
        number += 1
        if visit.seal_number != number:
            found.append(Break(visit.pk, visit.seal_number, f"seal {number} is missing"))
            number = visit.seal_number or number
        if visit.previous_seal != expected:
            found.append(
                Break(visit.pk, visit.seal_number, "it does not follow the visit sealed before it")
            )
        expected = visit.seal
    for start in range(0, len(visits), BATCH):
        found.extend(_breaks_of(visits[start : start + BATCH], with_photos=with_photos))
    found.extend(_against_trail(site, visits))
    return found


def breaks_of_visit(visit: Visit, rows: Rows) -> list[Break]:
    """The same for one closed visit whose rows are at hand; files are not read. Three queries."""
    found = list(_of_visit(visit, rows))
    before = (
        Visit.objects.filter(site=visit.site_id, seal_number__lt=visit.seal_number or 0)
        .order_by("-seal_number")
        .values_list("seal", flat=True)
        .first()
    )
    if visit.previous_seal != (before or NOTHING_BEFORE):
        found.append(
            Break(visit.pk, visit.seal_number, "it does not follow the visit sealed before it")
        )
    amendments = list(visit.amendments.order_by("number", "pk"))
    found.extend(_of_amendments(visit, amendments))
    told = _told_seals(TrailEntry.objects.filter(target_id=str(visit.pk)))
    if told.get(str(visit.pk)) != visit.seal:
        found.append(Break(visit.pk, visit.seal_number, "the trail knows of another seal"))
    return found


def all_breaks() -> Iterator[Break]:
    """Every break at every site that has a sealed visit."""
    sites = Site.objects.filter(visits__seal_number__isnull=False).distinct()
    for site in sites.order_by("pk").iterator(chunk_size=BATCH):
        yield from breaks_of_site(site)


def _breaks_of(visits: Sequence[Visit], *, with_photos: bool) -> Iterator[Break]:
    rows = rows_of(visits)
    amendments = defaultdict(list)
    for one in Amendment.objects.filter(visit__in=visits).order_by("number", "pk"):
        amendments[one.visit_id].append(one)
    for visit in visits:
        yield from _of_visit(visit, rows[visit.pk])
        yield from _of_amendments(visit, amendments[visit.pk])
        if with_photos:
            yield from _of_photos(visit, rows[visit.pk])


def _of_visit(visit: Visit, rows: Rows) -> Iterator[Break]:
    """Whether the seal is the text's, and the stored rows are the text's."""

    def broken(what: str) -> Break:
        return Break(visit.pk, visit.seal_number, what)

    if visit.state != Visit.State.CLOSED:
        yield broken("it is sealed, and no longer counts as closed")
    if visit.seal != chained(visit.previous_seal, visit.sealed_record):
        yield broken("its sealed words were changed")
    try:
        sealed = json.loads(visit.sealed_record)
    except ValueError:
        yield broken("its sealed words cannot be read")
        return
    facts = without_words(sealed)
    if facts.get("form") not in FORMS:
        yield broken("its sealed words are in a form that is not known here")
        return
    stored = without_words(plain(facts_of(visit, rows, form=facts["form"])))
    for part, words in PARTS.items():
        if _comparable(part, facts.get(part)) != _comparable(part, stored[part], facts.get(part)):
            yield broken(f"what is stored of {words} is not what was sealed")
    if facts.get("coverage", {}).get("totals") != visit.coverage:
        yield broken("what is stored of its coverage is not what was sealed")


def _comparable(part: str, value: Any, sealed: Any = None) -> str:
    """One exact text of a part. A photo that arrived after the seal was sealed by its name only."""
    if part != "findings" or not isinstance(value, list):
        return canonical(value)
    unseen = {
        photo["given"]
        for finding in (sealed if isinstance(sealed, list) else value)
        for photo in finding["photos"]
        if photo["kept"] is None
    }
    return canonical(
        [
            {
                **finding,
                "photos": [
                    {**photo, "kept": None} if photo["given"] in unseen else photo
                    for photo in finding["photos"]
                ],
            }
            for finding in value
        ]
    )


def _of_amendments(visit: Visit, amendments: Sequence[Amendment]) -> Iterator[Break]:
    expected = visit.seal
    for number, one in enumerate(amendments, start=1):
        what = f"amendment {one.number} "
        if one.number != number:
            yield Break(visit.pk, visit.seal_number, f"amendment {number} is missing")
        if one.previous_seal != expected:
            yield Break(visit.pk, visit.seal_number, what + "does not follow what it amends")
        if one.seal != chained(one.previous_seal, one.sealed_record):
            yield Break(visit.pk, visit.seal_number, what + "was changed after it was sealed")
        if one.sealed_record != amendment_record(visit, one):
            yield Break(visit.pk, visit.seal_number, what + "is stored otherwise than sealed")
        expected = one.seal


def amendment_record(visit: Visit, one: Amendment) -> str:
    """The exact text of an amendment that its seal covers. No query."""
    return canonical(
        {
            "form": "kickplate-amendment-1",
            "amendment": one.pk,
            "number": one.number,
            "visit": visit.pk,
            "visit_seal": visit.seal,
            "author": one.author_id,
            "at": one.at,
            "about": one.about,
            "correction": one.correction,
            "reason": one.reason,
        }
    )


def _of_photos(visit: Visit, rows: Rows) -> Iterator[Break]:
    """Whether every photo's file is still the one that was kept."""
    for finding in rows.findings:
        for shown in finding.shown_by.all():
            if not _is_whole(shown.photo):
                yield Break(
                    visit.pk, visit.seal_number, f"{shown.photo} is gone or is another picture"
                )


def _is_whole(photo: Photo) -> bool:
    try:
        with photo.image.open("rb") as file:
            return digest(file.read()) == photo.sha256
    except OSError:
        return False


def _against_trail(site: Site, visits: Sequence[Visit]) -> Iterator[Break]:
    told = _told_seals(TrailEntry.objects.filter(stream=f"site:{site.pk}"))
    numbers = {str(visit.pk): visit for visit in visits}
    for visit in visits:
        if told.get(str(visit.pk)) != visit.seal:
            yield Break(visit.pk, visit.seal_number, "the trail knows of another seal")
    for visit_id in sorted(told.keys() - numbers.keys()):
        yield Break(UUID(visit_id), None, "the trail knows of its seal, and it is gone")


def _told_seals(entries: Any) -> Mapping[str, str]:
    """By visit, the seal that the trail tells of. One query."""
    closed = entries.filter(verb="visit.closed", target_type="visits.visit")
    return {
        target: facts.get("seal", "")
        for target, facts in closed.order_by("pk").values_list("target_id", "facts")
    }
