"""Papers of decisions: made by a job from the text that was signed, kept, and told to both sides.

Drawing takes about a second, so it happens outside any transaction, under a lease. Every time a
job takes a paper up the number of tries grows, and whoever finds another number than their own has
lost it to somebody else and stops.
"""

import logging
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.template.loader import render_to_string
from django.utils import timezone

from accounts.models import Company, User
from accounts.services.letters import write_letter
from accounts.trail import record
from compliance.access import decision_papers_visible_to
from compliance.models import Decision, DecisionPaper
from compliance.queries.decision_papers import TextAltered, decision_paper_of
from compliance.sitefile.build import Paper, build_decision_paper
from compliance.sitefile.words import NO_BREAK, moment

log = logging.getLogger(__name__)

LEASE = timedelta(minutes=5)
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=6)
# Papers are made of older decisions too, but nobody is written to about what is long past.
TOLD_WITHIN = timedelta(days=14)


def decisions_without_paper(now: datetime) -> QuerySet[Decision]:
    """Decisions whose paper is to be made and that nobody is at or has put off, oldest first."""
    mine = DecisionPaper.objects.filter(decision=OuterRef("pk"))
    stopped = mine.filter(Q(made_at__isnull=False) | Q(next_try_at__gt=now))
    return Decision.objects.filter(~Exists(stopped)).order_by("sign_off__at", "pk")


def make_decision_papers(limit: int = 5) -> int:
    """Make the papers of decisions that have none; returns how many. Safe twice, late, or never.

    One that fails waits, longer each time up to six hours, and keeps no other waiting.
    """
    waiting = decisions_without_paper(timezone.now()).values_list("pk", flat=True)[:limit]
    return sum(make_decision_paper(pk) for pk in list(waiting))


def make_decision_paper(decision_id: UUID) -> bool:
    """Make one paper unless somebody else is at it, and say whether it was made."""
    claimed = _claim(decision_id, timezone.now())
    if claimed is None:
        return False
    try:
        paper = _drawn(claimed)
        return _keep(claimed, paper)
    except TextAltered:
        log.exception("the paper of decision %s cannot be made", decision_id)
        _put_off(claimed, "The signed text no longer fits its hash; no paper is made of it.")
    except OSError:
        log.exception("the paper of decision %s could not be made", decision_id)
        _put_off(claimed, "A text library or the file store is not at hand; the log says more.")
    except Exception:  # whatever it is, the other papers must go on; the log has the rest
        log.exception("the paper of decision %s could not be made", decision_id)
        _put_off(claimed, "Something in the signed text could not be printed.")
    return False


def _claim(decision_id: UUID, now: datetime) -> DecisionPaper | None:
    first = DecisionPaper(decision_id=decision_id, next_try_at=now)
    DecisionPaper.objects.bulk_create([first], ignore_conflicts=True)
    free = DecisionPaper.objects.filter(
        decision_id=decision_id, made_at__isnull=True, next_try_at__lte=now
    )
    if not free.update(next_try_at=now + LEASE, tries=F("tries") + 1):
        return None
    return DecisionPaper.objects.select_related(
        "decision__sign_off__person", "decision__action__site"
    ).get(decision_id=decision_id)


def _mine(paper: DecisionPaper) -> QuerySet[DecisionPaper]:
    return DecisionPaper.objects.filter(pk=paper.pk, made_at__isnull=True, tries=paper.tries)


def _drawn(claimed: DecisionPaper) -> Paper:
    gathered = decision_paper_of(claimed.decision)
    paper = build_decision_paper(gathered.paper, media=gathered.pictures, render=render_to_string)
    for fault in paper.faults:
        log.warning("paper of decision %s: %s", claimed.decision_id, fault)
    return paper


def _keep(claimed: DecisionPaper, paper: Paper) -> bool:
    """Store the paper and tell both sides, unless somebody else was faster."""
    storage = claimed.file.storage
    field = DecisionPaper._meta.get_field("file")
    name = storage.save(
        field.generate_filename(claimed, f"{claimed.pk}.pdf"), ContentFile(paper.pdf)
    )
    with transaction.atomic():
        mine = _mine(claimed).select_for_update(of=("self",)).first()
        if mine is not None:
            mine.file.name = name
            mine.sha256, mine.pages, mine.size = paper.sha256, paper.pages, len(paper.pdf)
            mine.made_at, mine.problem = timezone.now(), ""
            mine.save()
            record(
                None,
                "decision_paper.made",
                mine,
                sha256=paper.sha256,
                signed=claimed.decision.sign_off.content_hash,
                pages=paper.pages,
                faults=list(paper.faults),
            )
            _tell(mine)
            return True
    storage.delete(name)
    return False


def _tell(paper: DecisionPaper) -> None:
    """A letter to who signed and to who priced it, or to the company where nobody did or left."""
    sign_off, action = paper.decision.sign_off, paper.decision.action
    if timezone.now() - sign_off.at > TOLD_WITHIN:
        return
    people: list[User] = [sign_off.person]
    if action.priced_by and action.priced_by.is_active:
        people.append(action.priced_by)
    context = {
        "paper": paper,
        "decision": paper.decision,
        "sign_off": sign_off,
        "action": action,
        "site": action.site,
        "signed_at": moment(sign_off.at, sign_off.zone).replace(NO_BREAK, " "),
        "link": f"{settings.BASE_URL}{action.get_absolute_url()}#signed",
    }
    to = {str(one.pk): (one.email, one.name) for one in people if one.is_active}
    if len(people) == 1 and (company := Company.objects.exclude(email="").first()):
        to["company"] = (company.email, company.name)
    for key, (email, name) in to.items():
        write_letter(
            f"decision-paper:{paper.pk}:{key}",
            to=email,
            subject=f"Decision signed: {action.title}"[:200],
            text=render_to_string(
                "compliance/mail/decision_paper.txt", {**context, "person": name}
            ),
        )


def _put_off(claimed: DecisionPaper, sentence: str) -> None:
    wait = min(FIRST_WAIT * 2 ** min(claimed.tries - 1, 10), LONGEST_WAIT)
    _mine(claimed).update(problem=sentence[:300], next_try_at=timezone.now() + wait)


@transaction.atomic
def note_paper_download(decision_id: UUID, *, by: User) -> DecisionPaper:
    """Put on the trail that somebody takes a decision's paper away, and return it.

    Raises ``DecisionPaper.DoesNotExist`` for one that the person may not see or that is not made.
    """
    visible = decision_papers_visible_to(by).filter(made_at__isnull=False)
    paper = visible.select_related("decision__action__site").get(decision=decision_id)
    record(by, "decision_paper.downloaded", paper, sha256=paper.sha256)
    return paper
