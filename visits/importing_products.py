"""The register of products as sheets of import and export: products, rates, batches.

A row of ``products`` or ``rates`` that changes what a label states makes a new version of it, all
rows of one file together one version; a cell that is empty leaves what is on file. Rates are known
by their position, and are taken out on the product's page alone.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from django.db.models import Prefetch, QuerySet

from accounts.queries import company_today
from accounts.refusals import Unusable
from sites.importing.cells import CellProblem, choice, day, plain_text, shown, text, whole, yes
from sites.importing.kept import KeptSheet, batches, folded
from sites.importing.sheets import Column, Draft, Parsed, Planned, Problem, Verdict, in_words
from sites.models import Site
from visits.dosing.units import DosingError, read_number
from visits.label_words import actives_told
from visits.models import (
    Batch,
    LabelRate,
    MeasureUnit,
    Pest,
    PlaceKind,
    Product,
    ProductLabel,
    Treatment,
)
from visits.services.imported_products import TakenIn, keep_taken_in, tell_of_batches
from visits.services.labels import (
    RATE_STATED,
    STATED,
    differences,
    drafted,
    rate_stated,
    stated,
)

Key = tuple[str, str]
_LABEL_LONGEST = 4000


def amount(places: int, digits: int = 8) -> Callable[[Any], Decimal]:
    """An amount above zero, with a comma or a point; what can be read in two ways is refused."""

    def convert(value: Any) -> Decimal:
        words = plain_text(value)
        try:
            if isinstance(value, float | int | Decimal):
                number = Decimal(words)
            else:
                exact = read_number(words)
                number = Decimal(exact.numerator) / Decimal(exact.denominator)
        except (DosingError, InvalidOperation) as error:
            sentence = str(error) if isinstance(error, DosingError) else "This is no number."
            raise CellProblem(sentence) from None
        if number <= 0 or number >= 10**digits:
            raise CellProblem(f"{shown(words)} is not between 0 and {10**digits}.")
        if round(number, places) != number:
            raise CellProblem(f"At most {places} digits after the point can be kept.")
        return number

    return convert


def several(allowed: Mapping[str, str]) -> Callable[[Any], list[str]]:
    """Some of a set, by word or label, with ; between them; a dash for none."""
    one = choice(allowed)

    def convert(value: Any) -> list[str]:
        words = plain_text(value)
        if words in {"-", "–", "none"}:
            return []
        return sorted({one(part) for part in words.split(";") if part.strip()})

    return convert


def slugs(value: Any) -> list[str]:
    """Names or slugs of pests with ; between them; the list itself is asked while planning."""
    words = plain_text(value)
    if words in {"-", "–", "none"}:
        return []
    return [part.strip() for part in words.split(";") if part.strip()]


def actives(value: Any) -> list[dict[str, str]]:
    """Active ingredients as “permethrin 0.5 % w/w; cyphenothrin 1 g/kg”."""
    try:
        return actives_told(plain_text(value))
    except DosingError as error:
        raise CellProblem(str(error)) from None


_KEY_COLUMNS = (
    Column("product_name", text(120), "The full name on the label.", True),
    Column("registration_number", text(60), "Rows match by name and this number.", True),
)


class Products:
    """One row a product with what its label states; rows match by name and number."""

    key = "products"
    title = "Products"
    columns = (
        *_KEY_COLUMNS,
        Column("authority", text(80), "With whom it is registered."),
        Column(
            "formulation", choice(dict(Product.Formulation.choices)), "gel, dust, liquid …", True
        ),
        Column("unit", choice(dict(Product.Unit.choices)), "g or ml: how it is counted.", True),
        Column("is_demo", yes, "Whether it is invented for demonstration."),
        Column("in_force_from", day, "From when this label applies; today where left empty."),
        Column("issued_on", day, "The date of the label."),
        Column("actives", actives, "As “permethrin 0.5 % w/w”, with ; between two."),
        Column("density", amount(4, 4), "kg/l of the product as bought."),
        Column("ready_to_use", yes, "Whether it is never diluted."),
        Column("pests", slugs, "Pests of the list, with ; between two; - for none."),
        Column("pest_groups", several(dict(Pest.Group.choices)), "Whole groups, likewise."),
        Column("permitted_pests", text(_LABEL_LONGEST), "Pests in the label's own words."),
        Column("places", several(dict(PlaceKind.choices)), "Where the label permits it."),
        Column("permitted_places", text(_LABEL_LONGEST), "Places in the label's own words."),
        Column("methods", several(dict(Treatment.Method.choices)), "How it may be applied."),
        Column("interval_days", whole(0, 3660), "Days between applications, at least."),
        Column("most_a_year", whole(1, 366), "Applications in a year, at most."),
        Column("re_entry_minutes", whole(0, 14 * 24 * 60), "Until people may come back."),
        Column("re_entry", text(200), "The same in the label's own words."),
        Column("wind_most_kmh", amount(1, 3), "Wind at most, km/h."),
        Column("names_weather", yes, "Whether the label names temperature, humidity or rain."),
        Column("cautions", text(_LABEL_LONGEST), "One a line, in the label's own words."),
        Column("authorised_until", day, "The last day of its authorisation."),
        Column("safety_data_sheet_on", day, "The date of the safety data sheet."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        load_products({_key_of(row.values) for row in rows}, draft)

    def plan(self, row: Parsed, draft: Draft) -> Planned:
        number, values, key = row.row.number, row.values, _key_of(row.values)
        seen = draft.of("products in file")
        if key in seen:
            sentence = f"{values['product_name']} stands in row {seen[key]} already."
            return _error(row, "product_name", sentence)
        seen[key] = number
        facts = {name: values[name] for name in STATED if name in values}
        if "pests" in facts:
            known = draft.of("pests")
            unknown = [one for one in facts["pests"] if folded(one) not in known]
            if unknown:
                return _error(row, "pests", f"“{shown(unknown[0])}” is no pest on the list.")
            facts["pests"] = sorted({known[folded(one)].slug for one in facts["pests"]})
        begins = values.get("in_force_from")
        today = draft.of("days")["today"]
        if begins and begins > today:
            return _error(row, "in_force_from", "A label is in force from today or before.")
        kept: TakenIn | None = draft.of(self.key).get(key)
        if kept is None:
            return self._new(row, draft, facts, begins or today)
        return self._changed(row, draft, kept, facts, begins)

    def _new(self, row: Parsed, draft: Draft, facts: dict[str, Any], begins: date) -> Planned:
        values = row.values
        product = Product(
            name=values["product_name"],
            registration_number=values["registration_number"],
            **{
                name: values[name]
                for name in ("authority", "formulation", "unit", "is_demo")
                if name in values
            },
        )
        problem = _problem_of(row, product, facts, draft)
        if problem:
            return Planned(row.row.number, Verdict.ERROR, "", [problem])
        kept = TakenIn(product, None, [], {**facts, "rates": []}, begins, is_dirty=True)
        draft.of(self.key)[_key_of(values)] = kept
        words = f"Adds {product.name}, {product.registration_number}"
        return Planned(row.row.number, Verdict.NEW, words, record=product, extra=kept)

    def _changed(
        self, row: Parsed, draft: Draft, kept: TakenIn, facts: dict[str, Any], begins: date | None
    ) -> Planned:
        product, label = kept.product, kept.label
        if product.withdrawn_on or label is None:
            return _error(row, "product_name", f"{product} was withdrawn; it stays as it was used.")
        own = {
            name: row.values[name]
            for name in ("authority", "formulation", "unit", "is_demo")
            if name in row.values and getattr(product, name) != row.values[name]
        }
        if "unit" in own and product.pk in draft.of("products in use"):
            sentence = f"Treatments or batches of it are on file in {product.unit}."
            return _error(row, "unit", sentence)
        changed = differences(label, kept.rates, facts)
        if not own and not changed:
            words = f"{product.name}, {product.registration_number} is as on file"
            return Planned(row.row.number, Verdict.SAME, words)
        if changed and begins and begins < label.in_force_from:
            sentence = f"Version {label.number} is in force since {label.in_force_from}."
            return _error(row, "in_force_from", sentence)
        before = {name: getattr(product, name) for name in own}
        for name, value in own.items():
            setattr(product, name, value)
        problem = _problem_of(row, product, {**kept.facts, **facts}, draft)
        if problem:
            for name, value in before.items():
                setattr(product, name, value)
            return Planned(row.row.number, Verdict.ERROR, "", [problem])
        kept.facts |= facts
        kept.changed = {name: [before[name], value] for name, value in own.items()}
        kept.in_force_from = begins or kept.in_force_from
        kept.is_dirty = True
        told = {name: (before[name], value) for name, value in own.items()}
        told |= {name: (old, new) for name, (old, new) in changed.items()}
        new_label = f" (label {label.number + 1})" if changed else ""
        words = f"Changes {product.name}{new_label}: {in_words(_as_words(told))}"
        return Planned(row.row.number, Verdict.CHANGED, words, record=product, extra=kept)

    def write(self, rows: Sequence[Planned], draft: Draft) -> dict[Any, int]:
        _write(draft)
        return {}

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        if sites.query.is_empty():
            return
        for product in in_use().select_related("label").iterator(chunk_size=1000):
            yield product_row(product)


class Rates:
    """One row a line of rates; rows match by product and position."""

    key = "rates"
    title = "Rates of products"
    columns = (
        *_KEY_COLUMNS,
        Column("position", whole(1, 40), "Counts the rates of a product: 1, 2, 3.", True),
        Column("per", choice(dict(LabelRate.Per.choices)), "What the rate is for.", True),
        Column("least", amount(6), "At least, where the label gives a range."),
        Column("most", amount(6), "At most.", True),
        Column("unit", choice(dict(MeasureUnit.choices)), "Of both, as g or ml.", True),
        Column("per_amount", amount(6), "For each so many; 1 where left empty."),
        Column("per_unit", choice(dict(MeasureUnit.choices)), "As points, m2, m, l.", True),
        Column("of", choice(dict(LabelRate.Of.choices)), "product, or active."),
        Column("active", text(80), "Which active ingredient."),
        Column("cover_amount", amount(6), "Finished spray: so much."),
        Column("cover_unit", choice(dict(MeasureUnit.choices)), "Its unit."),
        Column("cover_per_amount", amount(6), "Over each so many."),
        Column("cover_per_unit", choice(dict(MeasureUnit.choices)), "Of these."),
        Column("methods", several(dict(Treatment.Method.choices)), "For these methods only."),
        Column("places", several(dict(PlaceKind.choices)), "In these places only."),
        Column("words", text(200), "In the label's own words."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        load_products({_key_of(row.values) for row in rows}, draft)

    def plan(self, row: Parsed, draft: Draft) -> Planned:
        values, key = row.values, _key_of(row.values)
        kept: TakenIn | None = draft.of("products").get(key)
        if kept is None:
            return _error(row, "product_name", "There is no such product; add it first.")
        if kept.product.withdrawn_on:
            return _error(row, "product_name", f"{kept.product} was withdrawn.")
        position = values["position"]
        seen = draft.of("rates in file")
        if (key, position) in seen:
            sentence = f"Row {seen[key, position]} is the same rate of this product."
            return _error(row, "position", sentence)
        seen[key, position] = row.row.number
        lines = list(kept.facts["rates"])
        if position > len(lines) + 1:
            return _error(row, "position", f"The next rate of it is number {len(lines) + 1}.")
        is_new = position == len(lines) + 1
        old = {} if is_new else lines[position - 1]
        line = {**old, **{name: values[name] for name in RATE_STATED if name in values}}
        said = f"rate {position} of {kept.product.name}"
        lines[position - 1 : position] = [line]
        problem = _problem_of(row, kept.product, {**kept.facts, "rates": lines}, draft)
        if problem:
            return Planned(row.row.number, Verdict.ERROR, "", [problem])
        if not is_new and not _differs(old, line):
            return Planned(row.row.number, Verdict.SAME, f"{said} is as on file")
        kept.facts["rates"] = lines
        kept.is_dirty = True
        verdict, does = (Verdict.NEW, "Adds") if is_new else (Verdict.CHANGED, "Changes")
        return Planned(row.row.number, verdict, f"{does} {said}", record=kept.product, extra=kept)

    def write(self, rows: Sequence[Planned], draft: Draft) -> dict[Any, int]:
        _write(draft)
        return {}

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        if sites.query.is_empty():
            return
        rates = LabelRate.objects.filter(label__in=in_use().values("label"))
        rows = rates.select_related("label__product").order_by(
            "label__product__name", "label__product__registration_number", "position", "pk"
        )
        for rate in rows.iterator(chunk_size=1000):
            yield {
                **_named(rate.label.product),
                "position": rate.position,
                **{name: _cell(getattr(rate, name)) for name in RATE_STATED},
            }


class Batches(KeptSheet):
    """One row a batch; rows match by product and number."""

    key = "batches"
    title = "Batches of products"
    model = Batch
    columns = (
        *_KEY_COLUMNS,
        Column("batch_number", text(60), "As it stands on the pack.", True),
        Column("received_on", day, "When it came in.", True),
        Column("amount", amount(2, 10), "All of it, in the product's own unit.", True),
        Column("expires_on", day, "Use by."),
        Column("used_up_on", day, "Since when nothing is left."),
        Column("note", text(300), "Anything else."),
    )

    def load(self, rows: Sequence[Parsed], draft: Draft) -> None:
        keys = {_key_of(row.values) for row in rows}
        load_products(keys, draft)
        named = [draft.of("products")[key].product for key in keys if key in draft.of("products")]
        for some in batches([one.pk for one in named]):
            for batch in Batch.objects.filter(product_id__in=some).select_related("product"):
                key = (*_product_key(batch.product), folded(batch.number))
                draft.of(self.key)[key] = batch

    def key_of(self, values: Mapping[str, Any]) -> Any:
        return (*_key_of(values), folded(values["batch_number"]))

    def said(self, values: Mapping[str, Any]) -> str:
        return f"batch {values['batch_number']} of {values['product_name']}"

    def fields(self, row: Parsed, draft: Draft) -> dict[str, Any] | Problem:
        values = row.values
        kept: TakenIn | None = draft.of("products").get(_key_of(values))
        if kept is None:
            return row.problem("product_name", "There is no such product; add it first.")
        today = draft.of("days")["today"]
        is_new = self.key_of(values) not in draft.of(self.key)
        if is_new and kept.product.withdrawn_on:
            sentence = f"{kept.product} was withdrawn; no more of it is taken in."
            return row.problem("product_name", sentence)
        for name in ("received_on", "used_up_on"):
            if name in values and values[name] > today:
                return row.problem(name, "This day is still to come.")
        for name in ("expires_on", "used_up_on"):
            if name in values and values[name] < values["received_on"]:
                return row.problem(name, "That is before it came in.")
        names = ("received_on", "amount", "expires_on", "used_up_on", "note")
        given = {name: values[name] for name in names if name in values}
        if is_new:
            given |= {"product": kept.product, "number": " ".join(values["batch_number"].split())}
        return given

    def write(self, rows: Sequence[Planned], draft: Draft) -> dict[Any, int]:
        touched = super().write(rows, draft)
        told = [
            (row.record, row.verdict is Verdict.NEW)
            for row in rows
            if isinstance(row.record, Batch)
        ]
        tell_of_batches(told, by=draft.user)
        return touched

    def site_id_of(self, record: Any) -> None:
        return None

    def export(self, sites: QuerySet[Site]) -> Iterator[dict[str, Any]]:
        if sites.query.is_empty():
            return
        rows = Batch.objects.select_related("product").filter(product__in=in_use())
        order = ("product__name", "product__registration_number", "received_on", "pk")
        for batch in rows.order_by(*order).iterator(chunk_size=1000):
            yield {
                **_named(batch.product),
                "batch_number": batch.number,
                "received_on": batch.received_on,
                "amount": _cell(batch.amount),
                "expires_on": batch.expires_on,
                "used_up_on": batch.used_up_on,
                "note": batch.note,
            }


def in_use() -> QuerySet[Product]:
    """The products that exports hold: all that are not withdrawn, by name."""
    return Product.objects.filter(withdrawn_on=None).order_by("name", "registration_number", "pk")


def product_row(product: Product) -> dict[str, Any]:
    """A product with its label as one row of the sheet; its label must be at hand."""
    label = product.label
    return {
        **_named(product),
        "authority": product.authority,
        "formulation": product.formulation,
        "unit": product.unit,
        "is_demo": product.is_demo,
        "in_force_from": label.in_force_from,
        **{name: _cell(getattr(label, name)) for name in STATED if name != "actives"},
        "actives": label.actives_words,
    }


def load_products(keys: Collection[Key], draft: Draft) -> None:
    """Fetch the products named, with label and rates, and the pests. A few queries at most."""
    draft.of("days")["today"] = company_today()
    for pest in Pest.objects.order_by("pk"):
        draft.of("pests")[folded(pest.slug)] = draft.of("pests")[folded(pest.name)] = pest
    there = draft.of("products")
    wanted = {key for key in keys if key not in there}
    if not wanted:
        return
    named = [
        pk
        for pk, *told in Product.objects.values_list("pk", "name", "registration_number")
        if (folded(told[0]), folded(told[1])) in wanted
    ]
    rates = Prefetch("label__rates", LabelRate.objects.order_by("position"))
    for some in batches(named):
        found = Product.objects.filter(pk__in=some).select_related("label").prefetch_related(rates)
        for product in found:
            there[_product_key(product)] = _kept(product, draft.of("days")["today"])
        for model in (Treatment, Batch):
            used = model._default_manager.filter(product_id__in=some)
            for pk in used.order_by().values_list("product_id", flat=True).distinct():
                draft.of("products in use")[pk] = True


def _kept(product: Product, today: date) -> TakenIn:
    label: ProductLabel = product.label
    label.product = product
    rates = list(label.rates.all())
    return TakenIn(product, label, rates, _facts(label, rates), today)


def _facts(label: ProductLabel, rates: Iterable[LabelRate]) -> dict[str, Any]:
    return stated(label, rates)


def _problem_of(
    row: Parsed, product: Product, facts: Mapping[str, Any], draft: Draft
) -> Problem | None:
    """Why the label could not say so, beside the column that it is about; nothing if it can."""
    known = frozenset(pest.slug for pest in draft.of("pests").values())
    try:
        drafted(product, facts, pests=known)
    except Unusable as error:
        names = [error.facts.get("row_field", ""), *error.facts.get("fields", {})]
        names += ["most", "actives", "product_name"]
        column = next((name for name in names if row.cell(name)), "product_name")
        return row.problem(column, str(error))
    return None


def _differs(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    before, after = LabelRate(**_figures(old)), LabelRate(**_figures(new))
    return rate_stated(before) != rate_stated(after)


def _figures(facts: Mapping[str, Any]) -> dict[str, Any]:
    names = ("least", "most", "per_amount", "cover_amount", "cover_per_amount")
    return {
        name: Decimal(value) if name in names and value is not None else value
        for name, value in facts.items()
    }


def _write(draft: Draft) -> None:
    """Write what is dirty of the products: all sheets of a file have been planned by now."""
    dirty = [one for one in draft.of("products").values() if one.is_dirty]
    names = {pest.slug: pest.name for pest in draft.of("pests").values()}
    keep_taken_in(dirty, by=draft.user, pest_names=names)
    for one in dirty:
        one.is_dirty = False


def _key_of(values: Mapping[str, Any]) -> Key:
    return folded(values["product_name"]), folded(values["registration_number"])


def _product_key(product: Product) -> Key:
    return folded(product.name), folded(product.registration_number)


def _named(product: Product) -> dict[str, Any]:
    return {
        "product_name": product.name,
        "registration_number": product.registration_number,
    }


def _error(row: Parsed, column: str, sentence: str) -> Planned:
    return Planned(row.row.number, Verdict.ERROR, "", [row.problem(column, sentence)])


def _cell(value: Any) -> Any:
    """A fact as a cell holds it: lists with ; between, figures without the zeros of a column."""
    if isinstance(value, list):
        return "; ".join(value)
    if isinstance(value, Decimal):
        return Decimal(f"{value.normalize():f}")
    return value


def _as_words(told: Mapping[str, tuple[Any, Any]]) -> dict[str, tuple[Any, Any]]:
    """Old and new as people read them; active ingredients on one line."""

    def words(name: str, value: Any) -> Any:
        if name == "actives":
            return ProductLabel(actives=value).actives_words
        return _cell(value)

    return {name: (words(name, old), words(name, new)) for name, (old, new) in told.items()}
