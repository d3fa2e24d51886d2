"""Review packs: asked for by a person, built by a job, kept with their hash, handed out."""

from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.utils import timezone

from accounts.models import Client, User
from accounts.refusals import NotAllowed, Unusable
from accounts.trail import record
from compliance.access import review_packs_visible_to, whole_clients_visible_to
from compliance.models import ReviewPack
from compliance.quarters import Quarter, quarter_of
from compliance.queries.review_packs import review_of, sites_of_quarter
from compliance.services import papers
from compliance.sitefile.build import Paper, PaperSize, Progress, build_review
from sites.models import Site

State = ReviewPack.State


@transaction.atomic
def request_review_pack(
    client_id: UUID,
    quarter: Quarter,
    *,
    by: User,
    paper_size: str = ReviewPack.PaperSize.A4,
) -> ReviewPack:
    """Ask for the pack of a quarter over all sites of a client; a job builds it.

    Whoever asks for the same while it is waiting or being built gets the one that is under way.
    Raises ``NotAllowed`` for whoever may not see every site of the client, ``Unusable`` for a
    quarter that has not begun.
    """
    client = Client.objects.select_for_update().get(pk=client_id)
    if not whole_clients_visible_to(by).filter(pk=client.pk).exists():
        raise NotAllowed(
            "A review pack tells of every site of the client; it is for the office and for the "
            "client's managers who see all of them."
        )
    if quarter > quarter_of(timezone.now().date()):
        raise Unusable("This quarter has not begun.")
    wanted = {"client": client, "quarter": quarter.first, "paper_size": paper_size}
    under_way = ReviewPack.objects.filter(
        **wanted, requested_by=by, state__in=[State.REQUESTED, State.BUILDING]
    )
    if found := under_way.order_by("created_at", "pk").first():
        return found
    pack = ReviewPack.objects.create(**wanted, requested_by=by)
    record(by, "review_pack.requested", pack, quarter=quarter.first, paper_size=paper_size)
    return pack


def build_review_packs(limit: int = 3) -> int:
    """Build the packs that wait; returns how many were built. Safe twice, late, or never."""
    return papers.build_waiting(KIND, limit)


def build_review_pack(pack_id: UUID) -> bool:
    """Build one pack unless somebody else is at it, and say whether it was built."""
    return papers.build(KIND, pack_id)


def _rows() -> QuerySet[ReviewPack]:
    return ReviewPack.objects.select_related("client", "requested_by")


def _printed(pack: ReviewPack, tell: Progress) -> Paper:
    """The paper itself. Reads and lays out; writes nothing."""
    quarter = Quarter(pack.quarter)
    sites = sites_of_quarter(Site.objects.filter(client=pack.client), quarter)
    review = review_of(pack.client, list(sites), quarter, by=pack.requested_by, now=timezone.now())
    return build_review(
        review, render=render_to_string, size=PaperSize(pack.paper_size), progress=tell
    )


KIND = papers.Kind(_rows, verb="review_pack", words="review pack", printed=_printed)


@transaction.atomic
def note_download(pack_id: UUID, *, by: User) -> ReviewPack:
    """Put on the trail that somebody takes a ready pack away, and return it.

    Raises ``ReviewPack.DoesNotExist`` for one that the person may not see or that is not ready.
    """
    visible = review_packs_visible_to(by).filter(state=State.READY)
    pack = visible.select_related("client").get(pk=pack_id)
    record(by, "review_pack.downloaded", pack, sha256=pack.sha256)
    return pack
