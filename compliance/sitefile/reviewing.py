"""A client's quarter on paper: the figures of all sites first, then site by site."""

from collections.abc import Mapping

from compliance.sitefile.review import Kept, Picture, Review, SiteReview
from compliance.sitefile.tables import Cell, Column, Pages, Table, table
from compliance.sitefile.trending import chart_of
from compliance.sitefile.words import counted, day, days, lines, moment, month, share

CAUTION = (
    "Figures, not a judgement of safety: what is not reached is not known, and what was not caught "
    "may still be there. Product labels, local law and licensed practice come first."
)


def opening(review: Review, pages: Pages) -> dict[str, object]:
    """The first page: how it was kept, how much was seen, what waits, and what sealing saved."""
    total = review.totals
    figures = (
        ("Kept on time", kept_share(total.kept)),
        ("Looked at", share(total.places_looked, total.places_due)),
        ("Not reached", str(total.not_reached)),
        ("Decided", str(total.decided)),
        ("Wait for a decision", str(total.outstanding)),
        ("Alarms answered", f"{total.alarms_answered} of {total.alarms}"),
    )
    return {
        "title": f"Review of {review.quarter}",
        "client": review.client,
        "period": days(review.first, review.last),
        "made": (
            f"As all stood on {moment(review.made.at, review.time_zone)}, for {review.made.by} "
            f"({review.made.role.lower()}), by {review.company.name}."
        ),
        "tiles": [figures[:3], figures[3:]],
        "kept": kept_words(total.kept),
        "saved": review.saved,
        "sites": _sites(review, pages),
        "caution": CAUTION,
    }


def kept_share(kept: Kept) -> str:
    """11 of 12, or a dash where nothing was due."""
    return f"{kept.kept} of {kept.due}" if kept.due else share(0, 0)


def kept_words(kept: Kept) -> str:
    """The visits whose window ended in the quarter, in a sentence."""
    if not kept.due:
        said = "No visit was due by now."
    else:
        said = f"{kept.kept} of {counted(kept.due, 'visit')} due came by the last day of the window"
        said += f", {kept.late} late" * bool(kept.late)
        said += f", {kept.missed} not made" * bool(kept.missed) + "."
    said += f" {counted(kept.called_off, 'visit')} called off." * bool(kept.called_off)
    return said + f" {counted(kept.to_come, 'window')} still open." * bool(kept.to_come)


def _sites(review: Review, pages: Pages) -> Table:
    return table(
        "review-sites",
        (
            Column("Site", "name"),
            Column("Kept on time", "kind"),
            Column("Looked at", "figure"),
            Column("Not reached", "figure"),
            Column("Wait for a decision", "figure"),
            Column("Alarms open", "figure"),
            Column("Page", "page"),
        ),
        [
            (
                Cell(one.name, anchor=site_anchor(number)),
                kept_share(one.kept),
                share(one.coverage_counts[1], one.coverage_counts[0]),
                str(len(one.not_reached)),
                str(len(one.outstanding)),
                str(len(one.alarms) - one.alarms_answered),
                str(pages.get(site_anchor(number), "")),
            )
            for number, one in enumerate(review.sites, start=1)
        ],
        none="This client had no site in the quarter.",
    )


def site(one: SiteReview, number: int) -> dict[str, object]:
    """One site's page."""
    due, looked = one.coverage_counts
    return {
        "site": one,
        "anchor": site_anchor(number),
        "kept": kept_words(one.kept),
        "looked": (
            f"{looked} of {counted(due, 'place')} due were looked at ({share(looked, due)})."
            if due
            else "Nothing was due to be looked at."
        ),
        "chart": _chart(one.picture, one.name, number) if one.picture else None,
        "not_reached": _not_reached(one),
        "decided": _decided(one),
        "outstanding": _outstanding(one),
        "sealed": _sealed(one),
        "alarms": _alarms(one),
    }


def site_anchor(number: int) -> str:
    """Where a site's page is led to."""
    return f"site-{number}"


def _chart(picture: Picture, where: str, number: int) -> Mapping[str, object]:
    svg = chart_of(picture.months, pest=picture.pest, where=where, number=number)
    return {"svg": svg, "pest": picture.pest, "words": picture.words}


def _not_reached(one: SiteReview) -> Table:
    return table(
        "review-unreached",
        (
            Column("Zone and place", "name"),
            Column("Why"),
            Column("Whose move", "kind"),
            Column("Since", "span"),
        ),
        [
            (
                lines(row.zone, row.what),
                row.reason,
                row.whose_move,
                lines(day(row.since), f"{counted(row.days, 'day')}, {counted(row.times, 'visit')}"),
            )
            for row in one.not_reached
        ],
        none="Nothing waits to be reached.",
    )


def _decided(one: SiteReview) -> Table:
    return table(
        "review-decided",
        (
            Column("Action", "name"),
            Column("Decision"),
            Column("By", "span"),
            Column("Now", "kind"),
        ),
        [
            (
                f"{row.number}. {row.title}",
                lines(row.outcome, row.option, row.reason),
                lines(row.by, day(row.on)),
                row.state,
            )
            for row in one.decided
        ],
        none="Nothing was decided in the quarter.",
    )


def _outstanding(one: SiteReview) -> Table:
    return table(
        "review-outstanding",
        (
            Column("Action", "name"),
            Column("Waits since", "span"),
            Column("Decide by", "span"),
            Column("Asked", "name"),
        ),
        [
            (
                f"{row.number}. {row.title}",
                lines(day(row.since), counted(row.days, "day")),
                day(row.due_on),
                row.asked or "Any manager of the site",
            )
            for row in one.outstanding
        ],
        none="Nothing waits for a decision.",
    )


def _sealed(one: SiteReview) -> Table:
    return table(
        "review-sealed",
        (Column("Work", "name"), Column("Done", "span"), Column("What it has saved so far")),
        [
            (
                lines(f"{row.number}. {row.title}", row.zone),
                day(row.on),
                lines(f"{row.state}.", *row.words),
            )
            for row in one.sealed
        ],
        none="No sealing has been done and checked here.",
    )


def _alarms(one: SiteReview) -> Table:
    return table(
        "review-alarms",
        (
            Column("Month", "kind"),
            Column("Zone and pest", "name"),
            Column("What was compared"),
            Column("What came of it", "span"),
        ),
        [
            (
                month(row.month),
                lines(row.zone, row.pest),
                row.words,
                Cell("Not answered yet", "due")
                if row.is_open
                else Cell(row.explanation or "Answered by a review"),
            )
            for row in one.alarms
        ],
        none="Nothing was more than usual in the quarter.",
    )
