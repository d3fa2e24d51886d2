"""What the monitors amount to, as the paper shows it: small charts, and the figures behind them."""

from collections.abc import Mapping, Sequence
from datetime import date

from compliance.sitefile.content import (
    Breach,
    PlaceTrend,
    SiteFile,
    TrendAlarm,
    TrendMonth,
    TrendReview,
    Trends,
    WorkEffect,
)
from compliance.sitefile.tables import Cell, Column, Fact, Table, facts, table
from compliance.sitefile.words import (
    DASH,
    NO_BREAK,
    counted,
    day,
    lines,
    listed,
    moment,
    month,
    named,
)
from compliance.trends.drawing import Point, described, small_chart
from compliance.trends.rates import PER, short

MONTH_COLUMNS = 12
MOST_NAMED = 2
"""Alarms that a small chart's words name by month."""
FONTS = "PT Sans, DejaVu Sans, sans-serif"
WHOLE_SITE = "Whole site"


def trends(file: SiteFile) -> dict[str, object]:
    """Charts of the places where anything was caught, tables of all, and what came of them."""
    found = file.trends
    drawn = [one for one in found.places if _is_drawn(one)]
    return {
        "lead": _lead(found),
        "charts": [_chart(one, number) for number, one in enumerate(drawn, start=1)],
        "quiet": len(found.places) - len(drawn) if drawn else 0,
        "has_places": bool(found.places),
        "tables": _rates(found.places),
        "alarms": _alarms(found.alarms),
        "breaches": _breaches(found.breaches),
        "effects": _effects(found.effects),
        "reviews": [_review(one) for one in found.reviews],
    }


def _lead(found: Trends) -> str:
    if not found.monitors:
        return "No monitor was counted in this period."
    return (
        f"{counted(found.monitors, 'monitor')}, {short(found.trap_days)}{NO_BREAK}trap-days and "
        f"{counted(found.readings, 'reading')} in the months of the period. A trap-day is one "
        "monitor standing and able to catch for one day; rates are individuals per 100 trap-days. "
        "An alarm says that there was more than is usual in a place, and neither why nor what is "
        "to be done."
    )


def _is_drawn(place: PlaceTrend) -> bool:
    return any(one.count or one.state == "alarm" for one in place.months)


def _chart(place: PlaceTrend, number: int) -> Mapping[str, object]:
    where = place.zone or WHOLE_SITE
    alarms = [one.month for one in place.months if one.state == "alarm"]
    return {
        "svg": chart_of(place.months, pest=place.pest, where=where, number=number),
        "pest": place.pest,
        "where": where,
        "words": _more(alarms),
    }


def chart_of(months: Sequence[TrendMonth], *, pest: str, where: str, number: int) -> str:
    """The months as a small picture for paper; ``number`` tells it from others of the paper."""
    points = [point_of(one) for one in months]
    # A reader of the paper is told a picture's title alone.
    spoken = f"{pest}, {where}. {described(points, ())}"
    svg = small_chart(points, title=spoken, name=f"trend-{number}")
    # Within a picture the printer takes fonts from attributes alone.
    return svg.replace("<svg ", f'<svg font-family="{FONTS}" ', 1)


def _more(alarms: Sequence[date]) -> str:
    if not alarms:
        return ""
    if len(alarms) > MOST_NAMED:
        return f"More than usual in {counted(len(alarms), 'month')}"
    return f"More than usual in {listed(month(one) for one in alarms)}"


def point_of(one: TrendMonth) -> Point:
    """A month of the content as a chart draws it."""
    return Point(
        month=(one.month.year, one.month.month),
        count=one.count,
        trap_days=one.trap_days,
        per_100=_per_100(one),
        centre=one.centre,
        limit=one.limit,
        state=one.state,  # type: ignore[arg-type]  # the same codes, as plain words
        at_least=one.at_least,
        allows=one.allows,
    )


def _per_100(one: TrendMonth) -> float | None:
    return PER * one.count / one.trap_days if one.trap_days else None


def _rates(places: Sequence[PlaceTrend]) -> list[Table]:
    """One row for each place and pest, one column for each month, a table for each dozen."""
    months = sorted({one.month for place in places for one in place.months})
    return [
        _rates_of(places, months[start : start + MONTH_COLUMNS])
        for start in range(0, len(months), MONTH_COLUMNS)
    ]


def _rates_of(places: Sequence[PlaceTrend], months: Sequence[date]) -> Table:
    heads = [Column(lines(f"{one:%b}", str(one.year)), "reading") for one in months]
    rows: list[tuple[str | Cell, ...]] = []
    for place in places:
        known = {one.month: one for one in place.months}
        if known.keys() & set(months):
            rows.append(
                (
                    place.zone or WHOLE_SITE,
                    place.pest,
                    *(_rate(known.get(one)) for one in months),
                )
            )
    return table(
        "grid",
        (Column("Zone", "place"), Column("Pest", "place"), *heads),
        rows,
        none="Nothing was counted in these months.",
        caption=f"Rates per 100 trap-days, {month(months[0])} to {month(months[-1])}",
    )


def _rate(one: TrendMonth | None) -> Cell:
    """Letters stand for words, so that a copy in black and white says the same."""
    if one is None:
        return Cell("")
    rate = _per_100(one)
    if rate is None or one.state == "not_read":
        return Cell(DASH, "unknown")
    shown = f"{short(rate)}{'f' if one.at_least else ''}"
    if one.state == "alarm":
        return Cell(f"{shown}A", "caught")
    return Cell(f"{shown}n" if one.state == "not_yet_known" else shown)


def _alarms(alarms: Sequence[TrendAlarm]) -> Table:
    return table(
        "alarms",
        (
            Column("Month", "kind"),
            Column("Zone and pest", "name"),
            Column("What was compared"),
            Column("Where to look first", "span"),
            Column("What came of it", "span"),
        ),
        [
            (
                month(one.month),
                lines(one.zone or WHOLE_SITE, one.pest),
                one.words,
                lines(*one.look_first),
                Cell(lines(one.state, one.explanation), "due" if one.is_open else ""),
            )
            for one in alarms
        ],
        none="Nothing was more than usual in this period.",
    )


def _breaches(breaches: Sequence[Breach]) -> Table:
    return table(
        "breaches",
        (
            Column("Day or month", "kind"),
            Column("Threshold", "name"),
            Column("Where and what", "name"),
            Column("What was found"),
            Column("What was done", "span"),
        ),
        [
            (
                day(one.on) if one.monitor else month(one.on),
                one.threshold,
                lines(one.zone, f"Monitor {one.monitor}" if one.monitor else "", one.pest),
                one.words,
                Cell(
                    lines(
                        one.state,
                        one.answer,
                        named("Action", str(one.action_number or "")),
                    ),
                    "due" if one.is_open else "",
                ),
            )
            for one in breaches
        ],
        none="No threshold was reached in this period.",
    )


def _effects(effects: Sequence[WorkEffect]) -> Table:
    return table(
        "effects",
        (
            Column("Day", "kind"),
            Column("Zone and pest", "name"),
            Column("Work", "name"),
            Column("What was caught before and after it"),
            Column("In short", "span"),
        ),
        [
            (
                day(one.on) if one.first_on == one.on else f"{day(one.first_on)} to {day(one.on)}",
                lines(one.zone, one.pest),
                lines(*one.what),
                lines(one.words, *one.notes),
                one.state,
            )
            for one in effects
        ],
        none="No work of this period that could be judged by what monitors caught.",
    )


def _review(one: TrendReview) -> Mapping[str, object]:
    return {
        "title": one.title,
        "facts": _review_facts(one),
        "trouble": one.trouble,
    }


def _review_facts(one: TrendReview) -> tuple[Fact, ...]:
    return facts(
        ("What the counts show", one.seen),
        ("Why, as far as it is known", one.cause or "Not said"),
        ("What is done about it", one.plan),
        ("Signed by", lines(f"{one.name}, {one.role}", one.competence)),
        ("Signed", f"{moment(one.at, one.zone)}, known by {one.method}"),
        ("Hash of the signed text", one.content_hash),
    )
