"""Did it help? What monitors caught before and after a piece of work, put into words.

A piece of work is what was applied on one closed visit in one zone against one pest, or proofing
that was checked. Its day parts the readings: a reading belongs, whole, to the side that its
``read_on`` lies in, even where its days began on the other one. What was read on the day itself
(on a visit mostly before anything is applied) counts as before. Neither side reaches past other
work in the same zone against the same group of pests; where one is cut, a note says so.

Docs: docs/algorithms/rates-and-effects.md (Did it help?).
"""

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from math import isnan, nan
from typing import Any, cast
from uuid import UUID

import numpy as np
from django.db.models import Exists, OuterRef
from django.utils import timezone

from accounts.models import Role, User
from compliance.access import actions_visible_to
from compliance.models import CorrectiveAction, CountSeries, PlaceMonth
from compliance.queries.trends import TREND_MONTHS, WHOLE_SITE, PestNamed, first_of, moved
from compliance.services.counting import COUNTED
from compliance.trends.dispersion import clumping
from compliance.trends.effect import Effect, Window, effect
from compliance.trends.exposure import NOT_SEEN, STOPS_WHEN_SPRUNG, Condition, share_of_days
from compliance.trends.many import judged_together
from compliance.trends.rates import PER, rate, rate_words
from compliance.trends.settings import CHOSEN
from sites.access import valid_pass_sites
from sites.models import Site, Zone
from visits.access import treatments_visible_to
from visits.models import Pest, Reading, RemedyKind, Treatment, Visit
from visits.models.pest import BAIT_TAKEN
from visits.services.standing import own_days

SIDE = timedelta(days=92)
"""How far each side reaches: about three months, so that one high count is not all of it."""

SOONEST = timedelta(days=28)
"""What was read earlier after the work than this tells nothing yet: common practice, no source."""

LEAST_BEFORE = 2
"""Days with readings that must lie before. The highest of many counts, which calls for work, is
followed by a lower one whatever is done."""

COURSE_GAP = timedelta(days=35)
"""Work that follows so soon upon other work leaves no month of readings in between, by which one
could be told from the other: both are one course. Ours; no source."""

STATES = {
    "fewer": "Fewer caught",
    "more": "More caught",
    "not_known": "Not known",
    "too_early": "Too early to tell",
}


@dataclass(frozen=True, slots=True)
class Side:
    """What was caught on one side of the work: read after ``after``, up to ``until`` included.

    ``days``: on how many days it was read; ``unseen``: readings that tell nothing, as the trap was
    missing or could not be reached, or nobody knows how long it had stood.
    """

    after: date
    until: date
    count: int = 0
    trap_days: float = 0.0
    full: bool = False
    readings: int = 0
    unseen: int = 0
    days: frozenset[date] = frozenset()
    phi: float = 1.0

    @property
    def window(self) -> Window:
        return Window(self.count, self.trap_days, self.full)

    @property
    def first(self) -> date:
        return self.after + timedelta(days=1)

    @property
    def per_100(self) -> float | None:
        return PER * self.count / self.trap_days if self.trap_days else None

    @property
    def words(self) -> str:
        """The rate with its limits, as wide as clumping makes them."""
        return rate_words(rate(self.count, self.trap_days, at_least=self.full, phi=self.phi))


@dataclass(frozen=True, slots=True)
class Compared:
    """Zones of the same site that had no such work in that time, both sides summed over them."""

    zones: tuple[str, ...]
    before: Side
    after: Side


@dataclass(frozen=True, slots=True)
class Helped:
    """One piece of work, or a course of several, against one pest, and what can be said of it.

    ``begun``: the first day of a course, whose last one is ``on``; ``parts`` are its pieces.

    ``state`` is one of ``STATES``; ``words`` say it all. ``notes`` say what else must be known:
    where a side was cut, or other work was done on the same day. ``told`` is None where nothing
    was worked out. ``pest`` is None for proofing of which nobody knows what it was against.
    """

    kind: str
    on: date
    zone_id: UUID | None
    zone_name: str
    pest: PestNamed | None
    what: str
    visit_id: UUID | None
    action_id: UUID | None
    state: str
    words: str
    before: Side | None = None
    after: Side | None = None
    others: Compared | None = None
    phi: float = 1.0
    notes: tuple[str, ...] = ()
    told: Effect | None = None
    begun: date | None = None
    parts: tuple["Helped", ...] = ()

    @property
    def first_on(self) -> date:
        return self.begun or self.on

    @property
    def is_course(self) -> bool:
        return bool(self.parts)

    @property
    def pieces(self) -> tuple["Helped", ...]:
        """The work itself, or each of a course."""
        return self.parts or (self,)

    @property
    def state_words(self) -> str:
        return STATES[self.state]

    @property
    def title(self) -> str:
        return f"{self.zone_name}, {self.pest.name}" if self.pest else self.zone_name


@dataclass(frozen=True, slots=True)
class _Work:
    """``zone_id`` None: somewhere at the site; ``group`` empty: against whatever lives there."""

    kind: str
    key: UUID
    on: date
    zone_id: UUID | None
    zone_name: str
    group: str
    pest: PestNamed | None
    what: str
    shown: bool

    def touches(self, zone_id: UUID | None, group: str) -> bool:
        here = self.zone_id is None or self.zone_id == zone_id
        return here and (not self.group or self.group == group)


@dataclass(frozen=True, slots=True)
class _Read:
    monitor_id: UUID
    on: date
    trap_days: float
    full: bool
    unseen: bool
    held: dict[UUID, int]


@dataclass(slots=True)
class _Counts:
    """What is known of a site: readings of each zone by day, and who watches for what there."""

    reads: dict[UUID, list[_Read]]
    watching: dict[tuple[UUID, UUID], set[UUID]]
    zones: dict[UUID, str]
    pests: dict[UUID, PestNamed]
    shapes: dict[tuple[UUID, UUID], list[tuple[date, float]]]

    def side(self, zone_id: UUID, pest_id: UUID, after: date, until: date) -> Side:
        reads = self.reads.get(zone_id, [])
        monitors = self.watching.get((zone_id, pest_id), set())
        low = bisect_right(reads, after, key=lambda one: one.on)
        high = bisect_right(reads, until, key=lambda one: one.on)
        rows = [one for one in reads[low:high] if one.monitor_id in monitors]
        seen = [one for one in rows if one.trap_days]
        return Side(
            after=after,
            until=until,
            count=sum(one.held.get(pest_id, 0) for one in seen),
            trap_days=sum(one.trap_days for one in seen),
            full=any(one.full for one in seen),
            readings=len(seen),
            unseen=sum(one.unseen for one in rows),
            days=frozenset(one.on for one in seen),
        )

    def phi(self, zone_id: UUID, pest_id: UUID, on: date, *sides: Side) -> float:
        """Variance over mean of a month's count in a zone.

        1 + mean / k, with the mean of the months that were read on both sides, and the k that like
        zones (and this one's own months) showed when it was last judged up to the month of the
        work; before anything was judged the one that published counts suggest.
        """
        months = {(day.year, day.month) for side in sides for day in side.days}
        if not months:
            return 1.0
        known = [k for month, k in self.shapes.get((zone_id, pest_id), []) if month <= on]
        k = known[-1] if known else AT_FIRST
        return 1.0 + sum(side.count for side in sides) / len(months) / k


AT_FIRST = float(
    clumping(np.array([CHOSEN.at_first]) / sum(CHOSEN.at_first), np.array(CHOSEN.shapes))[0]
)
"""The k of a zone that was never judged: what published trap counts suggest, a little over 1."""


def effects_at(
    site: Site,
    user: User,
    *,
    zone: Zone | None = None,
    pest: Pest | None = None,
    visit: Visit | None = None,
    action: CorrectiveAction | None = None,
    now: datetime | None = None,
) -> list[Helped]:
    """Every piece of work of the last two years that a person may see, the latest first.

    ``zone``, ``pest``, ``visit`` and ``action`` narrow what is answered, never what is judged
    together. Days are the site's own. An auditor is told of work within the period of a pass, from
    readings within it. Five queries, six for an auditor, however much there is; two and three where
    there was no work.
    """
    today = site.day_of(now or timezone.now())
    periods = _periods(site, user)
    asked = [one.done_at or one.created_at for one in (action,) if one]
    asked += [one.closed_at for one in (visit,) if one and one.closed_at]
    since = min([moved(first_of(today), -TREND_MONTHS), *map(site.day_of, asked)])
    works = _works(site, user)
    shown = [one for one in works if one.shown and since <= one.on <= today]
    if periods is not None:
        shown = [one for one in shown if _period_of(one.on, periods)]
    if not shown:
        return []
    counts = _counts(site, shown)
    found = [
        one
        for work in shown
        for one in _told(work, works, counts, today=today, period=_period_of(work.on, periods))
    ]
    found = [
        one
        for run in _runs(found)
        for one in _as_course(run, works, counts, today, _period_of(run[-1].on, periods))
    ]
    found = _together(found)
    return sorted(
        (
            one
            for one in found
            if (zone is None or one.zone_id == zone.pk)
            and (pest is None or (one.pest is not None and one.pest.id == pest.pk))
            and (visit is None or any(part.visit_id == visit.pk for part in one.pieces))
            and (action is None or any(part.action_id == action.pk for part in one.pieces))
        ),
        key=lambda one: (-one.on.toordinal(), one.zone_name, one.pest.name if one.pest else ""),
    )


# --- what was done ------------------------------------------------------------------------------


def _works(site: Site, user: User) -> list[_Work]:
    """All work at a site, whoever may see it, since all of it changes what is caught. Two queries.

    Applications of one visit, zone and pest are one piece of work. Proofing counts from the day it
    was reported done, once somebody checked it. Each says whether the person is shown it.
    """
    seen = treatments_visible_to(user).filter(pk=OuterRef("pk"))
    theirs = actions_visible_to(user).filter(pk=OuterRef("pk"))
    rows = (
        Treatment.objects.filter(visit__site=site, visit__state=Visit.State.CLOSED)
        .annotate(shown=Exists(seen))
        .select_related("target", "zone")
        .order_by("started_at", "pk")
    )
    gathered: dict[tuple[UUID, UUID, UUID], list[Any]] = defaultdict(list)
    for row in rows:
        gathered[row.visit_id, row.zone_id, row.target_id].append(row)
    works = [
        _Work(
            kind="treatment",
            key=visit_id,
            on=site.day_of(some[0].started_at),
            zone_id=zone_id,
            zone_name=some[0].zone.name,
            group=some[0].target.group,
            pest=_named(some[0].target),
            what=", ".join(
                dict.fromkeys(
                    f"{one.product_name} ({one.get_method_display().lower()})" for one in some
                )
            ),
            shown=some[0].shown,
        )
        for (visit_id, zone_id, _), some in gathered.items()
    ]
    proofed = (
        CorrectiveAction.objects.filter(
            site=site, kind=RemedyKind.PROOFING, state=CorrectiveAction.State.CHECKED
        )
        .annotate(shown=Exists(theirs))
        .select_related("zone", "finding__pest")
    )
    for one in proofed.order_by("done_at", "pk"):
        against = one.finding.pest if one.finding else None
        works.append(
            _Work(
                kind="proofing",
                key=one.pk,
                on=site.day_of(one.done_at or one.created_at),
                zone_id=one.zone_id,
                zone_name=one.zone.name if one.zone else WHOLE_SITE,
                group=against.group if against else "",
                pest=_named(against) if against else None,
                what=one.title,
                shown=one.shown,
            )
        )
    return works


Period = tuple[date, date]


def _periods(site: Site, user: User) -> list[Period] | None:
    """Periods of an auditor's passes for a site, None for anybody else. One query, or none."""
    if user.role != Role.AUDITOR:
        return None
    passes = valid_pass_sites(user).filter(site=site).order_by("pk")
    return list(passes.values_list("auditor_pass__period_from", "auditor_pass__period_to"))


def _period_of(day: date, periods: Iterable[Period] | None) -> Period | None:
    return next((one for one in periods or () if one[0] <= day <= one[1]), None)


def _named(pest: Pest) -> PestNamed:
    return PestNamed(pest.pk, pest.slug, pest.name, pest.group)


# --- what was caught ----------------------------------------------------------------------------


def _counts(site: Site, works: Sequence[_Work]) -> _Counts:
    """Three queries: who watches for what, how clumped that is, and the readings with counts."""
    series = CountSeries.objects.filter(site=site).select_related("zone", "pest", "monitor")
    counts = _Counts({}, defaultdict(set), {}, {}, defaultdict(list))
    place: dict[UUID, tuple[UUID, str]] = {}
    for one in series.order_by("zone__walk_order", "zone__name", "pk"):
        counts.watching[one.zone_id, one.pest_id].add(one.monitor_id)
        counts.zones[one.zone_id] = one.zone.name
        counts.pests[one.pest_id] = _named(one.pest)
        place[one.monitor_id] = (one.zone_id, one.monitor.kind)
    first = min(one.on for one in works) - SIDE
    last = max(one.on for one in works) + SIDE
    judged = PlaceMonth.objects.filter(
        site=site, zone__isnull=False, k__isnull=False, month__lte=last
    ).order_by("month")
    for zone_id, pest_id, month, k in judged.values_list("zone_id", "pest_id", "month", "k"):
        if k is not None:
            counts.shapes[zone_id, pest_id].append((month, k))
    readings = Reading.objects.filter(
        COUNTED, monitor__site=site, read_on__gt=first - SIDE, read_on__lte=last
    )
    held: dict[UUID, dict[UUID, int]] = defaultdict(dict)
    rows: dict[UUID, tuple[UUID, date, int | None, str]] = {}
    by_people: dict[UUID, dict[UUID, tuple[UUID, date, int | None]]] = defaultdict(dict)
    for pk, monitor_id, on, stood, condition, source, pest_id, count in readings.order_by(
        "read_on", "pk"
    ).values_list(
        "pk",
        "monitor_id",
        "read_on",
        "stood_days",
        "condition",
        "source",
        "counts__pest_id",
        "counts__count",
    ):
        rows[pk] = (monitor_id, on, stood, condition)
        if source in Reading.BY_PEOPLE:
            by_people[monitor_id][pk] = (pk, on, stood)
        if count:
            held[pk][pest_id] = count
    # Readings from before the first side only say where the days of later ones begin.
    own = {pk: days for read in by_people.values() for pk, days in own_days(read.values()).items()}
    reads: dict[UUID, list[_Read]] = defaultdict(list)
    for pk, (monitor_id, on, stood, condition) in rows.items():
        if monitor_id not in place or on <= first:
            continue
        stood = own.get(pk, stood)
        zone_id, kind = place[monitor_id]
        sprung = kind in STOPS_WHEN_SPRUNG and pk in held
        seen = cast(Condition, condition)
        days = (stood or 0) * share_of_days(seen, sprung=sprung)
        unseen = stood is None or condition in NOT_SEEN
        full = bool(days) and condition == Reading.Condition.FULL
        reads[zone_id].append(_Read(monitor_id, on, days, full, unseen, held.get(pk, {})))
    counts.reads = reads
    return counts


def _told(
    work: _Work, works: Sequence[_Work], counts: _Counts, *, today: date, period: Period | None
) -> list[Helped]:
    """What one piece of work did, for each pest it was against."""
    whole = Helped(
        kind=work.kind,
        on=work.on,
        zone_id=work.zone_id,
        zone_name=work.zone_name,
        pest=work.pest,
        what=work.what,
        visit_id=work.key if work.kind == "treatment" else None,
        action_id=work.key if work.kind == "proofing" else None,
        state="not_known",
        words="",
    )
    if work.zone_id is None:
        return [replace(whole, words="Not known: it is not said in which zone the work was done.")]
    watched = [
        named
        for pest_id, named in counts.pests.items()
        if (work.zone_id, pest_id) in counts.watching
        and named.slug != BAIT_TAKEN
        and (work.pest is None or work.pest.id == pest_id)
    ]
    if not watched:
        of = "for it" if work.pest else "for anything"
        return [replace(whole, words=f"Not known: no monitor of this zone watches {of}.")]
    each = [
        _of_pest(replace(whole, pest=one), work.zone_id, one, works, counts, today, period)
        for one in watched
    ]
    caught = [one for one in each if _caught(one)]
    # Proofing stands against whatever comes: of the pests that nobody caught, one line will do.
    return caught or each[:1]


def _runs(found: Sequence[Helped]) -> list[list[Helped]]:
    """Work on one pest in one zone with no more than ``COURSE_GAP`` between one and the next."""
    places: dict[tuple[UUID | None, UUID | None], list[Helped]] = defaultdict(list)
    for one in found:
        places[one.zone_id, one.pest.id if one.pest else None].append(one)
    runs: list[list[Helped]] = []
    for (zone_id, pest_id), some in places.items():
        run: list[Helped] = []
        for one in sorted(some, key=lambda each: each.on):
            if run and (not zone_id or not pest_id or one.on - run[-1].on > COURSE_GAP):
                runs.append(run)
                run = []
            run.append(one)
        runs.append(run)
    return runs


def _as_course(
    run: list[Helped],
    works: Sequence[_Work],
    counts: _Counts,
    today: date,
    period: Period | None,
) -> list[Helped]:
    """One course instead of its pieces: which of them did it cannot be told anyway.

    Pieces of one day, and a piece by itself, stay as they are.
    """
    first, last = run[0], run[-1]
    if first.on == last.on or last.zone_id is None or last.pest is None:
        return run
    if period is not None and first.on < period[0]:
        return run
    course = Helped(
        kind="course of work",
        on=last.on,
        zone_id=last.zone_id,
        zone_name=last.zone_name,
        pest=last.pest,
        what="",
        visit_id=None,
        action_id=None,
        state="not_known",
        words="",
        begun=first.on,
        parts=tuple(run),
    )
    return [_of_pest(course, last.zone_id, last.pest, works, counts, today, period)]


def _caught(one: Helped) -> bool:
    return any(side is not None and side.count for side in (one.before, one.after))


def _of_pest(
    one: Helped,
    zone_id: UUID,
    pest: PestNamed,
    works: Sequence[_Work],
    counts: _Counts,
    today: date,
    period: Period | None,
) -> Helped:
    start, end, notes = _cut(one, pest, works, period)
    before = counts.side(zone_id, pest.id, start, one.first_on)
    after = counts.side(zone_id, pest.id, one.on, end)
    others = _compared(one, pest, works, counts, start, end)
    phi = counts.phi(zone_id, pest.id, one.first_on, before, after)
    if others is not None:
        phi = max(phi, others.before.phi)
    one = replace(
        one,
        before=replace(before, phi=phi),
        after=replace(after, phi=phi),
        others=others
        and replace(
            others,
            before=replace(others.before, phi=phi),
            after=replace(others.after, phi=phi),
        ),
        phi=phi,
        notes=(*notes, *_unseen(before, after)),
    )
    if (early := _too_early(one.on, after, end, today)) is not None:
        return replace(one, state=early[0], words=early[1])
    if before.trap_days and len(before.days) < LEAST_BEFORE:
        return replace(
            one,
            words=(
                "Not known: before it there are readings of one day only, and a high count is "
                "mostly followed by a lower one, whatever is done."
            ),
        )
    told = effect(
        before.window,
        after.window,
        others=(others.before.window, others.after.window) if others else None,
        phi=phi,
    )
    return replace(one, told=told, state=told.ratio.change, words=told.words)


def _cut(
    one: Helped, pest: PestNamed, works: Sequence[_Work], period: Period | None
) -> tuple[date, date, list[str]]:
    """After which day the side before begins, with which day the one after ends, and why so."""
    start, end, notes = one.first_on - SIDE, one.on + SIDE, []
    if period is not None:
        if period[0] > start + timedelta(days=1) or period[1] < end:
            notes.append("Only readings within the period of the pass are counted.")
        start, end = max(start, period[0] - timedelta(days=1)), min(end, period[1])
    near = [
        work for work in works if work.touches(one.zone_id, pest.group) and start < work.on <= end
    ]
    earlier = max((work.on for work in near if work.on < one.first_on), default=None)
    later = min((work.on for work in near if work.on > one.on), default=None)
    if earlier is not None:
        start = earlier
        notes.append(f"Before counts only from {_day(earlier)}, when other work was done here.")
    if later is not None:
        end = later
        notes.append(f"After counts only up to {_day(later)}, when other work was done here.")
    if one.is_course:
        notes.append("What was read while it went on counts on neither side.")
        return start, end, notes
    mine = {one.visit_id, one.action_id}
    beside = [work.what for work in near if work.on == one.on and work.key not in mine]
    if beside:
        notes.append(
            f"On the same day was also done: {', '.join(dict.fromkeys(beside))}. Which of them "
            "did it cannot be told."
        )
    return start, end, notes


def _unseen(before: Side, after: Side) -> list[str]:
    said = []
    for when, side in (("Before", before), ("After", after)):
        if side.unseen:
            readings = "reading tells" if side.unseen == 1 else "readings tell"
            said.append(
                f"{when}, {side.unseen} {readings} nothing: the trap was missing or blocked, or "
                "it is not known how long it had stood."
            )
    return said


def _too_early(on: date, after: Side, end: date, today: date) -> tuple[str, str] | None:
    """State and words where less than a month or no reading lies after; None where enough does."""
    last = max(after.days, default=on)
    if last - on >= SOONEST:
        return None
    open_yet = today < end or today - on < SOONEST
    if not open_yet and not after.days:
        return None
    if not open_yet or end - on < SOONEST:
        return "not_known", "Not known: what was read after it lies within the first month."
    if not after.days:
        return "too_early", "Too early to tell: no trap that could catch has been read since."
    return "too_early", "Too early to tell: less than a month of readings lies after it."


def _compared(
    one: Helped, pest: PestNamed, works: Sequence[_Work], counts: _Counts, start: date, end: date
) -> Compared | None:
    """The other zones that watch for this pest, were read on both sides, and had no such work."""
    pairs: list[tuple[str, Side, Side]] = []
    weighed = 0.0
    for zone_id, name in counts.zones.items():
        if zone_id == one.zone_id or (zone_id, pest.id) not in counts.watching:
            continue
        if any(work.touches(zone_id, pest.group) and start < work.on <= end for work in works):
            continue
        before = counts.side(zone_id, pest.id, start, one.first_on)
        after = counts.side(zone_id, pest.id, one.on, end)
        if before.trap_days and after.trap_days:
            pairs.append((name, before, after))
            phi = counts.phi(zone_id, pest.id, one.first_on, before, after)
            weighed += phi * (before.count + after.count)
    if not pairs:
        return None
    early, late = [pair[1] for pair in pairs], [pair[2] for pair in pairs]
    caught = sum(side.count for side in [*early, *late])
    phi = weighed / caught if caught else 1.0
    return Compared(tuple(name for name, _, _ in pairs), _summed(early, phi), _summed(late, phi))


def _summed(sides: Sequence[Side], phi: float) -> Side:
    return Side(
        after=sides[0].after,
        until=sides[0].until,
        count=sum(one.count for one in sides),
        trap_days=sum(one.trap_days for one in sides),
        full=any(one.full for one in sides),
        readings=sum(one.readings for one in sides),
        unseen=sum(one.unseen for one in sides),
        days=frozenset[date]().union(*(one.days for one in sides)),
        phi=phi,
    )


def _together(found: Sequence[Helped]) -> list[Helped]:
    """Take back what does not stand out among all that were looked at (Benjamini-Hochberg)."""
    p_values = [one.told.p if one.told else nan for one in found]
    many = judged_together(p_values)
    return [
        replace(
            one,
            state="not_known",
            words=(
                f"Not known: among {many.looked_at} pieces of work looked at together, as large a "
                "change may come by chance."
            ),
        )
        if one.state in {"fewer", "more"} and not isnan(p) and not stands
        else one
        for one, p, stands in zip(found, p_values, many.stands_out, strict=True)
    ]


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"
