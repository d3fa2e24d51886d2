"""The paper of a decision, read back out of the text that was signed.

Nothing of what was put to the client is taken from today's rows: the signed text is all there is.
What today gives is the company's letterhead, and the photos that the text names by their hash.
Texts signed before sheets said as much as they do now are read with what they have.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from accounts.sealing import digest, plain
from compliance.economics.chart import cost_chart
from compliance.economics.worth import Terms
from compliance.models import ActionOption, CorrectiveAction, Decision, SignOff
from compliance.queries.sheets import (
    Sheet,
    break_even_in_words,
    by_year,
    figures_of,
    payback_spread_in_words,
    spread_rows,
    terms_in_words,
    turn_in_words,
)
from compliance.queries.site_file import company_facts
from compliance.services.signing import is_whole
from compliance.sitefile import content, decided
from compliance.sitefile.words import counted, money
from compliance.stored_pictures import for_paper
from sites.models import Photo
from visits.models import WhoseMove

TREATING = {ActionOption.Kind.INTERIM, ActionOption.Kind.CARRY_ON}


class TextAltered(ValueError):
    """The signed text no longer fits its hash, so no paper may be drawn from it."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """A paper's content and the pictures in it, by the names that the content calls them."""

    paper: decided.DecisionPaper
    pictures: Mapping[str, bytes]


def decision_paper_of(decision: Decision) -> Gathered:
    """The content of a decision's paper. Two queries, besides that of its sign-off.

    Raises ``TextAltered`` where the signed text is no longer the one that was signed.
    """
    sign_off = decision.sign_off
    if not is_whole(sign_off):
        raise TextAltered(f"the text of sign-off {sign_off.pk} no longer fits its hash")
    told = json.loads(sign_off.content)
    facts, figures = told["shown"]["facts"], told["shown"]["figures"]
    answer = told["answer"]
    sheet = sheet_signed(facts, figures)
    pictures = _pictures(facts)
    declined = answer["outcome"] == Decision.Outcome.DECLINED
    return Gathered(
        paper=decided.DecisionPaper(
            company=company_facts(),
            client=facts["client"],
            site=facts["site"]["name"],
            address=facts["site"]["address"],
            place=facts["zone"] or "",
            number=facts["number"],
            revision=facts["revision"],
            title=facts["title"],
            detail=facts["detail"],
            kind=CorrectiveAction.Kind(facts["kind"]).label,
            whose_move=_mover(facts["whose_move"]),
            raised_on=date.fromisoformat(facts["raised_on"]),
            due_on=date.fromisoformat(facts["due_on"]),
            found_on_visit=facts["found_on_visit"] or "",
            photos=tuple(
                content.Photo(sha256 if sha256 in pictures else "", "Before the work", sha256)
                for sha256 in facts["photos_before"]
            ),
            ways=tuple(_ways(sheet, figures, answer["option"])),
            money=_money(sheet, figures) if sheet.ways else None,
            answer=_answer(sheet.options, answer["option"], declined=declined),
            declined=declined,
            reason=answer["reason"],
            signed=_signed(sign_off, told),
            shown_hash=told["shown"].get("hash", ""),
            treats=any(option.kind in TREATING for option in sheet.options),
        ),
        pictures=pictures,
    )


def sheet_signed(facts: Mapping[str, Any], figures: Mapping[str, Any]) -> Sheet:
    """The sheet as it was signed. Its rows are read out of the text and are never saved."""
    terms = facts.get("terms", {})
    return Sheet(
        action=CorrectiveAction(pk=UUID(facts["action"]), revision=facts["revision"]),
        options=[_option(one) for one in facts["options"]],
        facts=dict(facts),
        terms=Terms(
            figures["years"],
            Decimal(terms.get("yearly_rate", 0)),
            Decimal(terms.get("yearly_growth", 0)),
        ),
        currency=facts["currency"],
    )


def _option(one: Mapping[str, Any]) -> ActionOption:
    ranges, effect = one.get("ranges", {}), one.get("effect", {})
    lows_and_highs: dict[str, Any] = {}
    for name, (low, high) in ranges.items():
        number = int if name == "life_years" else Decimal
        lows_and_highs |= {f"{name}_low": number(low), f"{name}_high": number(high)}
    return ActionOption(
        pk=UUID(one["option"]),
        position=one["position"],
        kind=one["kind"],
        description=one["description"],
        cost_once=Decimal(one["cost_once"]),
        cost_monthly=Decimal(one["cost_monthly"]),
        life_years=one["life_years"],
        remaining_risk=one["remaining_risk"],
        effect_percent=effect.get("percent"),
        effect_basis=effect.get("basis", ""),
        effect_words=effect.get("words", ""),
        **lows_and_highs,
    )


def _ways(sheet: Sheet, figures: Mapping[str, Any], chosen: str | None) -> Iterable[decided.Way]:
    """The options with the figures that were signed beside them."""
    weighed = {one["option"]: one for one in figures["ways"]}
    for option in sheet.options:
        signed = weighed.get(str(option.pk), {})

        def said(name: str, signed: Mapping[str, Any] = signed) -> str:
            return money(Decimal(signed[name]), sheet.currency) if name in signed else ""

        yield decided.Way(
            position=option.position,
            kind=option.get_kind_display(),
            description=option.description,
            once=_priced(option, "cost_once", sheet.currency),
            monthly=_priced(option, "cost_monthly", sheet.currency),
            life=_life(option),
            effect=_effect(option),
            remaining_risk=option.remaining_risk,
            bought=signed.get("renewals", 0) + 1 if option.cost_once else 0,
            total=said("total"),
            per_year=said("per_year"),
            present=said("present"),
            yearly_equivalent=said("yearly_equivalent"),
            chosen=str(option.pk) == chosen,
        )


def _priced(option: ActionOption, name: str, currency: str) -> str:
    if option.kind == ActionOption.Kind.NOTHING:
        return ""
    low, high = getattr(option, f"{name}_low"), getattr(option, f"{name}_high")
    said = money(getattr(option, name), currency)
    if low is None:
        return said
    return f"{said}, between {money(low, currency)} and {money(high, currency)}"


def _life(option: ActionOption) -> str:
    if not option.life_years:
        return ""
    said = counted(option.life_years, "year")
    if option.life_years_low is None:
        return said
    return f"{said}, between {option.life_years_low} and {option.life_years_high} years"


def _effect(option: ActionOption) -> str:
    if option.effect_percent is None:
        return ""
    return (
        f"To save {option.effect_percent} % of the extra visits, treatments and call-outs. "
        f"{option.get_effect_basis_display()}: {option.effect_words}"
    )


def _money(sheet: Sheet, figures: Mapping[str, Any]) -> decided.Money:
    """The working, where it still comes to the figures that were signed."""
    years, terms = sheet.terms.years, terms_in_words(sheet.terms)
    if not _comes_to(plain(figures_of(sheet)), figures):
        return decided.Money(years, terms, works_out=False)
    discounted = bool(sheet.terms.yearly_rate)
    sentences = [
        break_even_in_words(sheet.comparison, sheet.currency),
        "In today's money: " + break_even_in_words(sheet.today, sheet.currency)
        if discounted and sheet.today.break_even
        else "",
        payback_spread_in_words(sheet),
    ]
    return decided.Money(
        years,
        terms,
        works_out=True,
        chart=cost_chart(
            sheet.today, currency=sheet.currency, name="costs", in_todays_money=discounted
        ),
        sentences=tuple(filter(None, sentences)),
        by_year=tuple(
            (str(row.year), *(money(cost, sheet.currency) for cost in row.costs))
            for row in by_year(sheet.today)
        ),
        spread=tuple(
            (
                row.label,
                *(money(one, sheet.currency) for one in (row.p10, row.p50, row.p90)),
                f"{row.least_of_hundred} of 100",
            )
            for row in spread_rows(sheet)
        ),
        turns=tuple(turn_in_words(turn, sheet) for turn in sheet.turns),
    )


def _comes_to(now: Any, signed: Any) -> bool:
    """Whether the figures worked out now are those that were signed, as far as those go."""
    if isinstance(signed, dict) and isinstance(now, dict):
        return all(name in now and _comes_to(now[name], one) for name, one in signed.items())
    if isinstance(signed, list) and isinstance(now, list):
        return len(now) == len(signed) and all(map(_comes_to, now, signed))
    return bool(now == signed)


def _answer(options: Sequence[ActionOption], chosen: str | None, *, declined: bool) -> str:
    if declined:
        return "Turned down; the client carries the risk described"
    option = next(one for one in options if str(one.pk) == chosen)
    return f"Go ahead with option {option.position}: {option.get_kind_display().lower()}"


def _mover(whose_move: str) -> str:
    """ "Us" is the company to whoever holds the paper."""
    if whose_move == WhoseMove.US:
        return "The service company"
    return str(WhoseMove(whose_move).label)


def _signed(sign_off: SignOff, told: Mapping[str, Any]) -> content.SignOff:
    return content.SignOff(
        name=told["person"],
        role=told["role"],
        meaning=told["meaning"],
        at=sign_off.at,
        zone=told["zone"],
        method=sign_off.method,
        content_hash=sign_off.content_hash,
    )


def _pictures(facts: Mapping[str, Any]) -> dict[str, bytes]:
    """The photos that were signed, by their hash, as far as the store still has those very files.

    One query. A file that reads otherwise than it was signed is no longer the photo.
    """
    kept = Photo.objects.filter(site=facts["site"]["id"], sha256__in=facts["photos_before"])
    found = {}
    for photo in kept:
        try:
            with photo.image.open("rb") as stored:
                data: bytes = stored.read()
        except OSError:
            continue
        if digest(data) == photo.sha256:
            found[photo.sha256] = for_paper(data)
    return found
