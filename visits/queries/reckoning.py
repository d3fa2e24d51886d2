"""How the amount of a treatment stands to its label, in the sentences of the pure sums."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from uuid import UUID

from visits.dosing.doses import dose, use
from visits.dosing.units import DosingError, Quantity
from visits.models import LabelRate, ProductLabel, Treatment
from visits.queries.labels import pure_label, pure_rate


def rates_of(treatments: Iterable[Treatment]) -> Mapping[UUID, Sequence[LabelRate]]:
    """By label, the lines of rates of those labels that treatments were made by. One query."""
    labels = {one.label_id for one in treatments if one.rate_id and one.label_id}
    found: dict[UUID, list[LabelRate]] = defaultdict(list)
    if labels:
        for rate in LabelRate.objects.filter(label__in=labels).order_by("label", "position"):
            found[rate.label_id].append(rate)
    return found


def reckoned(one: Treatment, label: ProductLabel, rates: Sequence[LabelRate]) -> list[str]:
    """The sum behind the amount, sentence by sentence; none where there is nothing to reckon with.

    It needs the line of the label and the measure of the place, or what was mixed where the line
    is for finished spray. The treatment must have its product and rate at hand. No query.
    """
    measure = measure_of(one)
    if one.rate is None or measure is None:
        return []
    label.product = one.product
    try:
        line, stated = pure_rate(one.rate), pure_label(label, rates)
        amount = Quantity(Fraction(one.amount), one.unit)
        allowed, used = dose(line, stated, measure), use(line, stated, measure, amount)
        return [*allowed.working, *used.working]
    except DosingError:
        # What cannot be reckoned is recorded all the same; the checks of the record say why.
        return []


def measure_of(one: Treatment) -> Quantity | None:
    """What the amount is measured against: the place, or the finished spray for such a line."""
    per_finished = one.rate is not None and one.rate.per == LabelRate.Per.FINISHED
    if per_finished and one.finished_amount is not None:
        return Quantity(Fraction(one.finished_amount), one.finished_unit)
    if one.area is None:
        return None
    return Quantity(Fraction(one.area), one.area_unit)
