"""The versions of a label: entered beside the earlier ones, corrected only while nobody used them.

A record names the version that was in force, so whatever a label states anew is a new version. The
label itself comes before anything that is held here.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, TypedDict, Unpack, cast
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.models import User
from accounts.queries import company_today
from accounts.refusals import Changed, Unusable, WrongState
from accounts.sealing import canonical, digest
from accounts.trail import record
from sites.keeping import check, keep_new
from sites.media import CleanFile, clean_document
from sites.models import Document
from sites.services.documents import keep_company_paper
from visits.access import require_may_keep_products
from visits.dosing.units import DosingError
from visits.models import LabelRate, Pest, PlaceKind, Product, ProductLabel, Treatment
from visits.queries.labels import pure_active, pure_label, pure_rate


class ActiveFacts(TypedDict):
    """An active ingredient; ``strength`` is text, so that no digit is lost."""

    name: str
    strength: str
    basis: str


class RateFacts(TypedDict, total=False):
    """A line of rates, as ``LabelRate`` has it; its place in the list is its position."""

    per: str
    of: str
    active: str
    least: Decimal | None
    most: Decimal
    unit: str
    per_amount: Decimal
    per_unit: str
    cover_amount: Decimal | None
    cover_unit: str
    cover_per_amount: Decimal | None
    cover_per_unit: str
    methods: list[str]
    places: list[str]
    words: str


class LabelFacts(TypedDict, total=False):
    """What a label states, as ``ProductLabel`` has it. What is left out stays as it was."""

    issued_on: date | None
    actives: Sequence[ActiveFacts]
    density: Decimal | None
    ready_to_use: bool
    pests: list[str]
    pest_groups: list[str]
    permitted_pests: str
    places: list[str]
    permitted_places: str
    methods: list[str]
    interval_days: int | None
    most_a_year: int | None
    re_entry_minutes: int | None
    re_entry: str
    wind_most_kmh: Decimal | None
    names_weather: bool
    cautions: str
    authorised_until: date | None
    safety_data_sheet_on: date | None
    rates: Sequence[RateFacts]


STATED = tuple(name for name in LabelFacts.__annotations__ if name != "rates")
RATE_STATED = tuple(RateFacts.__annotations__)
LISTS: Mapping[str, frozenset[str]] = {
    "pest_groups": frozenset(Pest.Group.values),
    "places": frozenset(PlaceKind.values),
    "methods": frozenset(Treatment.Method.values),
}
LONGEST_ACTIVES = 300
"""Characters: the actives of a product stand on one line of every record that names it."""


@dataclass(frozen=True, slots=True)
class Papers:
    """The files of a label and of a safety data sheet, as they were sent in."""

    label: bytes | None = None
    sheet: bytes | None = None


def enter_label(
    product_id: UUID,
    *,
    by: User,
    in_force_from: date,
    seen: str = "",
    papers: Papers | None = None,
    **facts: Unpack[LabelFacts],
) -> ProductLabel:
    """Enter a new version of a label, which is in force from now on; returns it.

    What is left out stays as in the version before. Where nothing differs there is no new version,
    and files are kept with the one in force. A file goes along to the new version unless the day of
    its paper changed. ``seen`` is ``label_mark`` of the version that was on screen.

    Raises ``NotAllowed``, ``Changed``, ``Unusable`` for what no label can say, or ``WrongState``
    for a withdrawn product. Files are looked at before the transaction.
    """
    require_may_keep_products(by)
    files = clean_papers(papers)
    return _enter(product_id, by, in_force_from, seen, files, facts)


@transaction.atomic
def _enter(
    product_id: UUID,
    by: User,
    in_force_from: date,
    seen: str,
    files: Mapping[str, CleanFile],
    facts: LabelFacts,
) -> ProductLabel:
    product = Product.objects.select_for_update(of=("self",)).get(pk=product_id)
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn; it stays as it was used.")
    before = ProductLabel.objects.select_related("product").get(pk=product.label_id)
    rates = list(before.rates.order_by("position"))
    _require_unchanged(before, rates, seen)
    changed = differences(before, rates, facts)
    if not changed:
        if files:
            kept = keep_papers(before, files, by)
            record(by, "label.papers_kept", product, number=before.number, papers=kept)
        return before
    require_begun(in_force_from)
    _require_not_before(before, in_force_from)
    label, lines = drafted(product, stated(before, rates) | dict(facts))
    label.number, label.in_force_from, label.entered_by = before.number + 1, in_force_from, by
    if "issued_on" not in changed:
        label.label_file = before.label_file
    if "safety_data_sheet_on" not in changed:
        label.sheet_file = before.sheet_file
    keep_label(label, lines)
    kept = keep_papers(label, files, by, earlier=before)
    product.label, product.found_by = label, words_to_find(product, label)
    product.save(update_fields=["label", "found_by"])
    record(
        by,
        "label.entered",
        product,
        number=label.number,
        in_force_from=in_force_from,
        changed=changed,
        papers=kept,
    )
    return label


def correct_label(
    label_id: UUID,
    *,
    by: User,
    seen: str = "",
    papers: Papers | None = None,
    in_force_from: date | None = None,
    **facts: Unpack[LabelFacts],
) -> ProductLabel:
    """Put right what was copied wrongly from a label, as long as no treatment was made by it.

    Raises ``WrongState`` for a version that a record names, for one that is not in force and for a
    withdrawn product; else as ``enter_label``.
    """
    require_may_keep_products(by)
    files = clean_papers(papers)
    return _correct(label_id, by, seen, files, in_force_from, facts)


@transaction.atomic
def _correct(
    label_id: UUID,
    by: User,
    seen: str,
    files: Mapping[str, CleanFile],
    in_force_from: date | None,
    facts: LabelFacts,
) -> ProductLabel:
    # Both rows are locked: a treatment that names this version holds a lock on it until it stands.
    product = Product.objects.select_for_update(of=("self",)).get(labels=label_id)
    label = ProductLabel.objects.select_for_update(of=("self",)).get(pk=label_id)
    label.product = product
    require_correctable(product, label)
    rates = list(label.rates.order_by("position"))
    _require_unchanged(label, rates, seen)
    changed = differences(label, rates, facts)
    if in_force_from and in_force_from != label.in_force_from:
        require_begun(in_force_from)
        earlier = product.labels.filter(number__lt=label.number).order_by("-number").first()
        if earlier is not None:
            _require_not_before(earlier, in_force_from)
        changed["in_force_from"] = [label.in_force_from, in_force_from]
        label.in_force_from = in_force_from
    fresh, lines = drafted(product, stated(label, rates) | dict(facts))
    for name in STATED:
        setattr(label, name, getattr(fresh, name))
    check(label)
    label.save()
    if "rates" in changed:
        _replace_rates(label, rates, lines)
    kept = keep_papers(label, files, by, earlier=label)
    product.found_by = words_to_find(product, label)
    product.save(update_fields=["found_by"])
    if changed or kept:
        record(by, "label.corrected", product, number=label.number, changed=changed, papers=kept)
    return label


def require_begun(in_force_from: date) -> None:
    """Raise ``Unusable`` for a version that would be in force only from a day to come."""
    if in_force_from > company_today():
        sentence = "A label is in force from today or from a day before. Enter it when it applies."
        raise Unusable(sentence, fields={"in_force_from": [sentence]})


def _require_not_before(earlier: ProductLabel, in_force_from: date) -> None:
    """Versions follow one another: a record is judged by the last one that began by its day."""
    if in_force_from < earlier.in_force_from:
        raise Unusable(
            f"Version {earlier.number} is in force since {earlier.in_force_from}; the next one "
            "cannot begin before it.",
            fields={"in_force_from": [f"Not before {earlier.in_force_from}."]},
        )


def require_correctable(product: Product, label: ProductLabel) -> None:
    """Raise ``WrongState`` unless a version may still be changed in place."""
    if product.withdrawn_on:
        raise WrongState(f"{product} was withdrawn; it stays as it was used.")
    if product.label_id != label.pk:
        raise WrongState(f"Version {label.number} is no longer in force; it stays as it was.")
    if label.treatments.exists():
        raise WrongState(
            f"Treatments were recorded by version {label.number}, so it stays as it is. "
            "Enter a new version of the label."
        )


def stated(label: ProductLabel, rates: Iterable[LabelRate]) -> dict[str, Any]:
    """What a version states, as ``LabelFacts``."""
    facts = {name: getattr(label, name) for name in STATED}
    return facts | {"rates": [rate_stated(one) for one in rates]}


def rate_stated(rate: LabelRate) -> dict[str, Any]:
    """What a line of rates states, as ``RateFacts``."""
    return {name: _plain_number(getattr(rate, name)) for name in RATE_STATED}


def label_mark(label: ProductLabel, rates: Iterable[LabelRate]) -> str:
    """A short mark of all that a version states, by which a later writer can tell a change."""
    facts = {name: _plain_number(value) for name, value in stated(label, rates).items()}
    return digest(canonical([label.number, label.in_force_from, facts]))[:16]


def differences(
    label: ProductLabel, rates: Sequence[LabelRate], facts: Mapping[str, Any]
) -> dict[str, list[Any]]:
    """What facts would change of a version, as ``{field: [old, new]}`` for the trail."""
    changed: dict[str, list[Any]] = {}
    for name in STATED:
        if name not in facts:
            continue
        old, new = getattr(label, name), _normal(name, facts[name])
        if old != new:
            changed[name] = [old, new]
    if "rates" in facts:
        old_lines = [rate_stated(one) for one in rates]
        new_lines = [rate_stated(_rate(one)) for one in facts["rates"]]
        if old_lines != new_lines:
            changed["rates"] = [old_lines, new_lines]
    return changed


def drafted(
    product: Product, facts: Mapping[str, Any], *, pests: frozenset[str] | None = None
) -> tuple[ProductLabel, list[LabelRate]]:
    """A version and its lines, not yet saved, if a label can say so.

    ``pests`` are the slugs on the list where the caller has them; else one query asks. Raises
    ``Unusable``, with the field in ``fields`` and, for a row, in ``row`` and ``row_field``.
    """
    label = ProductLabel(
        product=product,
        number=1,
        **{name: _normal(name, facts[name]) for name in STATED if name in facts},
    )
    for name, known in LISTS.items():
        _require_known(name, getattr(label, name), known)
    if label.pests:
        slugs = Pest.objects.filter(slug__in=label.pests).values_list("slug", flat=True)
        _require_known("pests", label.pests, frozenset(slugs) if pests is None else pests)
    rates = [_rate(one) for one in facts.get("rates", ())]
    for position, rate in enumerate(rates, start=1):
        rate.label, rate.position = label, position
        for name in ("methods", "places"):
            _require_known("rates", getattr(rate, name), LISTS[name])
    require_sound(label, rates)
    return label, rates


def require_sound(label: ProductLabel, rates: Sequence[LabelRate]) -> None:
    """Raise ``Unusable`` for what no label can say. No query; ``label.product`` is at hand."""
    for number, one in enumerate(label.actives, start=1):
        if not one.get("strength") and not one.get("basis"):
            continue
        try:
            pure_active(one)
        except DosingError as error:
            raise _row_refused("actives", number, f"Active ingredient {number}", error) from error
    if len(label.actives_words) > LONGEST_ACTIVES:
        sentence = f"The active ingredients come to more than {LONGEST_ACTIVES} characters."
        raise Unusable(sentence, fields={"actives": [sentence]})
    for number, rate in enumerate(rates, start=1):
        try:
            rate.clean_fields(exclude=["label"])
            pure_rate(rate)
        except DosingError as error:
            raise _row_refused("rates", number, f"Rate {number}", error) from error
        except ValidationError as error:
            field, sentences = next(iter(error.message_dict.items()))
            raise Unusable(
                f"Rate {number}, {field.replace('_', ' ')}: {sentences[0]}",
                fields={"rates": [f"Rate {number}: {sentences[0]}"]},
                row=number,
                row_field=field,
            ) from error
    try:
        pure_label(label, rates)
    except DosingError as error:
        raise Unusable(str(error), fields={error.field: [str(error)]}) from error


def _row_refused(field: str, number: int, called: str, error: DosingError) -> Unusable:
    sentence = f"{called}: {error}"
    return Unusable(sentence, fields={field: [sentence]}, row=number, row_field=error.field)


def _require_known(name: str, told: Iterable[str], known: frozenset[str]) -> None:
    strange = sorted(set(told) - known)
    if strange:
        sentence = f"“{strange[0]}” is not on the list of {name.replace('_', ' ')}."
        raise Unusable(sentence, fields={name: [sentence]})


def keep_label(label: ProductLabel, rates: Sequence[LabelRate]) -> None:
    """Add a drafted version with its lines; only services call this, within their transaction."""
    keep_new(label)
    LabelRate.objects.bulk_create(rates)


def words_to_find(
    product: Product, label: ProductLabel, names: Mapping[str, str] | None = None
) -> str:
    """What a search looks through. One query for the pests' names, unless ``names`` are given."""
    if names is None and label.pests:
        names = dict(Pest.objects.filter(slug__in=label.pests).values_list("slug", "name"))
    groups = dict(Pest.Group.choices)
    told = [product.name, product.registration_number, product.authority]
    told += [one["name"] for one in label.actives]
    told += [(names or {}).get(slug, slug) for slug in label.pests]
    told += [str(groups.get(one, one)) for one in label.pest_groups]
    told.append(label.permitted_pests)
    return " ".join(" ".join(told).split()).casefold()


def _require_unchanged(label: ProductLabel, rates: Sequence[LabelRate], seen: str) -> None:
    if seen and seen != label_mark(label, rates):
        raise Changed(
            f"Somebody else changed the label of {label.product} while you were typing. What "
            "stands there now is on its page; save again to put what you typed in its place."
        )


def _replace_rates(
    label: ProductLabel, rates: Sequence[LabelRate], lines: Sequence[LabelRate]
) -> None:
    """Lines keep their number where they keep their place, as phones may name them already."""
    for old, new in zip(rates, lines, strict=False):
        for name in RATE_STATED:
            setattr(old, name, getattr(new, name))
        old.position = new.position
        old.save()
    LabelRate.objects.filter(pk__in=[one.pk for one in rates[len(lines) :]]).delete()
    for one in lines[len(rates) :]:
        one.label = label
        one.save(force_insert=True)


def _rate(facts: Mapping[str, Any]) -> LabelRate:
    given = {"per_amount": 1, **{name: facts[name] for name in RATE_STATED if name in facts}}
    for name in ("methods", "places"):
        given[name] = sorted(set(given.get(name) or ()))
    for name in ("active", "words"):
        given[name] = " ".join(str(given.get(name) or "").split())
    for name in ("cover_unit", "cover_per_unit"):
        given[name] = given.get(name) or ""
    if "most" not in given or given["most"] is None:
        raise Unusable("Say how much a rate allows.", fields={"rates": ["Say how much at most."]})
    for name in ("least", "most", "per_amount", "cover_amount", "cover_per_amount"):
        if given.get(name) is not None:
            given[name] = Decimal(given[name])
    return LabelRate(**given)


def _normal(name: str, value: Any) -> Any:
    """A fact as it is held: lists without repeats in one order, actives with plain strengths."""
    if name == "actives":
        return [_active(one) for one in value]
    if name in LISTS or name == "pests":
        return sorted(set(value or ()))
    if isinstance(value, str):
        return value.strip()
    return value


def _active(one: Mapping[str, str]) -> dict[str, str]:
    strength = str(one.get("strength", "")).strip()
    return {
        "name": " ".join(one["name"].split()),
        "strength": cast(str, _plain_number(Decimal(strength))) if strength else "",
        "basis": one.get("basis", ""),
    }


def _plain_number(value: Any) -> Any:
    """A figure as text without the zeros that a column adds; anything else as it is."""
    return f"{value.normalize():f}" if isinstance(value, Decimal) else value


def clean_papers(papers: Papers | None) -> dict[str, CleanFile]:
    """The files that were sent, looked at, by the field that holds them. Raises ``Unusable``."""
    sent = papers or Papers()
    found = {"label_file": sent.label, "sheet_file": sent.sheet}
    return {name: clean_document(data) for name, data in found.items() if data}


def keep_papers(
    label: ProductLabel,
    files: Mapping[str, CleanFile],
    by: User,
    *,
    earlier: ProductLabel | None = None,
) -> list[str]:
    """Put the files on file as the company's papers, so that the evidence list finds them."""
    told = {
        "label_file": (Document.Kind.LABEL, f"label, version {label.number}", label.issued_on),
        "sheet_file": (
            Document.Kind.SAFETY_DATA_SHEET,
            "safety data sheet",
            label.safety_data_sheet_on,
        ),
    }
    for name, file in files.items():
        kind, words, issued_on = told[name]
        before = getattr(earlier or label, f"{name}_id")
        paper = keep_company_paper(
            by=by,
            file=file,
            kind=kind,
            title=f"{label.product.name}: {words}"[:160],
            issued_on=issued_on,
            replaces=before,
        )
        setattr(label, name, paper)
    if files:
        label.save(update_fields=list(files))
    return sorted(files)
