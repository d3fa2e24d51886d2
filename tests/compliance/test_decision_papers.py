"""The paper of a decision: drawn from what was signed, once, kept with its hash, told to both."""

import hashlib
import json
import logging
from datetime import timedelta
from decimal import Decimal
from io import BytesIO

import pytest
import time_machine
from django.core.files.storage import FileSystemStorage
from django.core.management import CommandError, call_command
from django.db import IntegrityError
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from accounts.models import Company, Letter, TrailEntry
from accounts.sealing import canonical, digest
from compliance.models import CorrectiveAction, Decision, DecisionPaper, SignOff
from compliance.queries.decision_papers import decision_paper_of
from compliance.services import decision_papers as services
from compliance.services.actions import OptionGiven, price_action
from compliance.services.decision_papers import (
    LEASE,
    decisions_without_paper,
    make_decision_paper,
    make_decision_papers,
)
from compliance.sitefile.build import build_decision_paper
from compliance.stored_papers import trouble_of
from sites.models import Photo
from tests.builders.accounts import make_auditor, make_manager, make_office, make_technician
from tests.builders.compliance import (
    CARRY_ON,
    LASTING,
    decide,
    give_pass,
    make_action,
    make_photo,
)
from tests.builders.sites import make_site

pytestmark = [pytest.mark.django_db]

RANGED = OptionGiven(
    kind="interim",
    description="Foam in the chase, to be renewed.",
    cost_once=Decimal("900"),
    cost_monthly=Decimal("90"),
    life_years=2,
    cost_once_low=Decimal("700"),
    cost_once_high=Decimal("1400"),
    life_years_low=1,
    life_years_high=4,
    effect_percent=30,
    effect_basis="assumption",
    effect_words="As the foam is gnawed through within two years.",
    remaining_risk="Mice get through once it is gnawed.",
)


@pytest.fixture(autouse=True)
def company(db) -> Company:
    return Company.objects.create(
        name="Fennimore & Tull Site Hygiene", address="4 Ropewalk", email="desk@fennimore.test"
    )


def decided(**facts) -> Decision:
    """A decision on proofing, with a photo from before it."""
    site = make_site(name="Amberley Grand")
    facts = {"site": site, "detail": "The chase leads to the bins.", **facts}
    facts.setdefault("photo_ids", [make_photo(site).pk])
    return make_action("decided", **facts).decisions.get()


def made(decision: Decision) -> DecisionPaper:
    assert make_decision_paper(decision.pk)
    return DecisionPaper.objects.get(decision=decision)


def words_of(pdf: bytes) -> str:
    pages = PdfReader(BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def words(paper: DecisionPaper) -> str:
    return words_of(paper.file.read())


def flat(words: str) -> str:
    """Without spaces, as a hash may be broken over two lines of the paper."""
    return words.replace(" ", "")


def signed_again(decision: Decision, change) -> None:
    """The signed text as an older program would have written it, with its own hash."""
    told = json.loads(decision.sign_off.content)
    change(told["shown"])
    text = canonical(told)
    SignOff.objects.filter(pk=decision.sign_off_id).update(content=text, content_hash=digest(text))


# --- what is in it ------------------------------------------------------------------------------


def test_the_paper_says_all_options_the_answer_and_who_signed():
    decision = decided(options=(LASTING, CARRY_ON, RANGED))
    sign_off = decision.sign_off

    said = words(made(decision))

    for expected in (
        "Fennimore & Tull Site Hygiene",
        "Amberley Grand",
        decision.action.title,
        "The chase leads to the bins.",
        "Go ahead with option 1: lasting work",
        "1. Lasting work (chosen)",
        "2. Carry on treating",
        "3. Interim fix",
        LASTING.description,
        CARRY_ON.description,
        RANGED.description,
        "£4,800.00",
        "£180.00",
        "£900.00, between £700.00 and £1,400.00",
        "2 years, between 1 and 4 years",
        "To save 30 % of the extra visits",
        "An assumption of the office: As the foam is gnawed through",
        LASTING.remaining_risk,
        CARRY_ON.remaining_risk,
        RANGED.remaining_risk,
        "to turn the work down, with a reason",
        sign_off.person_name,
        sign_off.person_role,
        "Orders the work described",
        "Europe/London",
        "Password, entered again for this signature",
        "The product label and the safety data sheet come first",
        "Droppings are never swept",
    ):
        assert expected in said, expected
    for sha256 in (sign_off.content_hash, json.loads(sign_off.content)["shown"]["hash"]):
        assert sha256 in flat(said)


def test_the_paper_shows_the_figures_and_the_meeting_point_that_were_signed():
    """4,800 + 60 a month against 180 a month: 4,800 / (180 - 60) = 40 months."""
    decision = decided()

    said = words(made(decision))

    for figure in json.loads(decision.sign_off.content)["shown"]["figures"]["ways"]:
        assert f"£{Decimal(figure['total']):,.2f}" in said
    assert "has paid for itself by the end of month 40" in said
    assert "month 40" in said.replace("end of month 40", "")


def test_a_no_is_on_paper_with_its_reason():
    said = words(made(decided(declined=True)))

    assert "Turned down; the client carries the risk described" in said
    assert "Too dear this year." in said
    assert "(chosen)" not in said


def test_photos_are_printed_and_one_that_is_gone_is_told_by_its_hash():
    site = make_site()
    kept, lost = make_photo(site), make_photo(site)
    decision = decided(site=site, photo_ids=[kept.pk, lost.pk])
    lost.image.storage.delete(lost.image.name)

    said = words(made(decision))

    assert said.count("this photo is no longer in the store") == 1
    assert kept.sha256 in flat(said)
    assert lost.sha256 in flat(said)


def test_a_photo_whose_file_was_exchanged_is_not_printed_as_the_one_that_was_signed():
    site = make_site()
    signed, other = make_photo(site), make_photo(site)
    decision = decided(site=site, photo_ids=[signed.pk])
    Photo.objects.filter(pk=signed.pk).update(image=other.image.name)

    gathered = decision_paper_of(decision)

    assert gathered.pictures == {}
    assert [one.media for one in gathered.paper.photos] == [""]


def test_it_is_drawn_from_the_signed_text_and_not_from_todays_rows():
    decision = decided()
    before = decision_paper_of(decision).paper
    CorrectiveAction.objects.update(title="Something else", detail="")
    decision.action.options.update(description="Cheaper now", cost_once=1)
    decision.action.site.client.__class__.objects.update(name="Another client")

    assert decision_paper_of(Decision.objects.get(pk=decision.pk)).paper == before


def test_drawn_again_from_the_same_text_it_is_the_same_to_the_byte():
    decision = decided()
    paper = made(decision)
    gathered = decision_paper_of(decision)

    with time_machine.travel(timezone.now() + timedelta(days=400)):
        again = build_decision_paper(
            gathered.paper, media=gathered.pictures, render=services.render_to_string
        )

    assert again.sha256 == paper.sha256
    assert again.faults == ()


def test_it_is_tagged_and_claims_both_standards():
    """ISO 32000-1, 14.8 (tagged PDF) and the claims of ISO 19005-3 (PDF/A-3a) and ISO 14289-1."""
    root = PdfReader(made(decided()).file.open()).trailer["/Root"]

    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en-GB"
    assert "/StructTreeRoot" in root
    xmp = root["/Metadata"].get_data().decode()
    assert "<pdfaid:part>3</pdfaid:part><pdfaid:conformance>A</pdfaid:conformance>" in xmp
    assert "<pdfuaid:part>1</pdfuaid:part>" in xmp


def test_a_text_signed_before_sheets_said_so_much_is_drawn_with_what_it_has():
    decision = decided()

    def older(shown):
        del shown["facts"]["terms"]
        for option in shown["facts"]["options"]:
            del option["ranges"], option["effect"]
        for way in shown["figures"]["ways"]:
            del way["present"], way["yearly_equivalent"]
        for name in ("break_even_in_todays_money", "spread", "turns"):
            del shown["figures"][name]

    signed_again(decision, older)

    said = words(made(Decision.objects.get(pk=decision.pk)))

    assert "has paid for itself by the end of month 40" in said
    assert "Over 5 years; neither interest nor growing prices are counted." in said


def test_figures_that_come_out_otherwise_today_are_printed_as_they_were_signed():
    decision = decided()

    def otherwise(shown):
        shown["figures"]["ways"][0]["total"] = "8123.45"

    signed_again(decision, otherwise)

    said = words(made(Decision.objects.get(pk=decision.pk)))

    assert "£8,123.45" in said
    assert "only the signed ones are printed" in said
    assert "paid for itself" not in said


# --- the job ------------------------------------------------------------------------------------


def test_a_sweep_makes_each_paper_once_and_keeps_it_with_its_hash():
    decision = decided()
    assert list(decisions_without_paper(timezone.now())) == [decision]

    assert (make_decision_papers(), make_decision_papers()) == (1, 0)

    paper = DecisionPaper.objects.get()
    data = paper.file.read()
    assert paper.sha256 == hashlib.sha256(data).hexdigest()
    assert (paper.size, paper.pages) == (len(data), len(PdfReader(BytesIO(data)).pages))
    entry = TrailEntry.objects.get(verb="decision_paper.made")
    assert entry.facts["sha256"] == paper.sha256
    assert entry.facts["signed"] == decision.sign_off.content_hash
    assert entry.stream_id == f"site:{decision.action.site_id}"


def test_both_sides_get_one_letter_with_the_link_and_no_file():
    office = make_office()
    decision = decided(by=office)

    paper = made(decision)
    make_decision_papers()
    services._tell(paper)

    letters = {letter.to: letter for letter in Letter.objects.filter(subject__contains="signed")}
    assert set(letters) == {decision.sign_off.person.email, office.email}
    assert Letter.objects.filter(key__startswith="decision-paper:").count() == 2
    for letter in letters.values():
        assert decision.action.get_absolute_url() in letter.text
        assert paper.sha256 in letter.text
        assert decision.sign_off.person_name in letter.text


def test_where_the_one_who_priced_it_has_left_the_company_is_written_to(company):
    office = make_office()
    decision = decided(by=office)
    office.is_active = False
    office.save()

    made(decision)

    assert Letter.objects.filter(key__startswith="decision-paper:", to=company.email).exists()
    assert not Letter.objects.filter(key__startswith="decision-paper:", to=office.email).exists()


def test_nobody_is_written_to_about_a_decision_of_long_ago():
    decision = decided(at=timezone.now() - timedelta(days=60))

    made(decision)

    assert not Letter.objects.filter(key__startswith="decision-paper:").exists()


class FullStore(FileSystemStorage):
    """A store without room."""

    def _save(self, name, content):
        raise OSError("no space left on device")


def test_one_that_cannot_be_stored_waits_longer_each_time_and_is_made_in_the_end(settings, caplog):
    decided()
    usual = settings.STORAGES
    with time_machine.travel(timezone.now(), tick=False) as clock:
        settings.STORAGES = {
            **usual,
            "default": {"BACKEND": "tests.compliance.test_decision_papers.FullStore"},
        }
        with caplog.at_level(logging.ERROR):
            assert make_decision_papers() == 0
        assert "could not be made" in caplog.text
        assert make_decision_papers() == 0  # not before its time
        clock.shift(timedelta(minutes=1))
        assert make_decision_papers() == 0
        waits = DecisionPaper.objects.get().next_try_at - timezone.now()
        settings.STORAGES = usual
        clock.shift(waits)
        assert make_decision_papers() == 1

    paper = DecisionPaper.objects.get()
    assert waits == timedelta(minutes=2)
    assert (paper.tries, paper.problem) == (3, "")
    assert trouble_of(paper) == ""


def test_one_whose_text_was_altered_gets_no_paper_and_keeps_no_other_waiting():
    bad = decided(at=timezone.now() - timedelta(days=1))
    good = decided()
    SignOff.objects.filter(pk=bad.sign_off_id).update(
        content=bad.sign_off.content.replace("4800", "9")
    )

    assert make_decision_papers() == 1

    assert DecisionPaper.objects.get(decision=good).made_at
    failed = DecisionPaper.objects.get(decision=bad)
    assert failed.made_at is None
    assert "no longer fits its hash" in failed.problem


class DyingStore(FileSystemStorage):
    """A store under which the process dies once the file lies there."""

    dies = False

    def _save(self, name, content):
        saved = super()._save(name, content)
        if DyingStore.dies:
            raise KeyboardInterrupt
        return saved


def test_a_job_that_dies_between_file_and_row_is_followed_by_one_that_makes_it(settings, tmp_path):
    decided()
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "tests.compliance.test_decision_papers.DyingStore",
            "OPTIONS": {"location": tmp_path / "dying"},
        },
    }
    with time_machine.travel(timezone.now(), tick=False) as clock:
        DyingStore.dies = True
        with pytest.raises(KeyboardInterrupt):
            make_decision_papers()
        DyingStore.dies = False
        assert DecisionPaper.objects.get().made_at is None
        assert make_decision_papers() == 0  # its lease still runs
        clock.shift(LEASE)
        assert make_decision_papers() == 1

    assert trouble_of(DecisionPaper.objects.get()) == ""
    assert TrailEntry.objects.filter(verb="decision_paper.made").count() == 1
    assert Letter.objects.filter(key__startswith="decision-paper:").count() == 2


class SlowStore(FileSystemStorage):
    """A store that takes so long over the first file that another job comes by meanwhile."""

    meanwhile = None

    def _save(self, name, content):
        saved = super()._save(name, content)
        todo, SlowStore.meanwhile = SlowStore.meanwhile, None
        if todo:
            todo()
        return saved


def test_two_jobs_at_once_make_one_paper_and_leave_one_file(settings, tmp_path):
    decision = decided()
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "tests.compliance.test_decision_papers.SlowStore",
            "OPTIONS": {"location": tmp_path / "slow"},
        },
    }
    answers = []

    def second_job() -> None:
        DecisionPaper.objects.update(next_try_at=timezone.now() - timedelta(seconds=1))
        answers.append(make_decision_paper(decision.pk))

    SlowStore.meanwhile = second_job
    answers.append(make_decision_paper(decision.pk))

    assert answers == [True, False]
    assert len(list((tmp_path / "slow").rglob("decision_papers/*/*/*.pdf"))) == 1
    assert TrailEntry.objects.filter(verb="decision_paper.made").count() == 1


def test_a_paper_is_made_with_a_file_and_a_hash_or_not_at_all():
    made(decided())

    with pytest.raises(IntegrityError):
        DecisionPaper.objects.update(sha256="")


# --- decided anew -------------------------------------------------------------------------------


def test_a_price_that_changes_asks_anew_and_the_old_answer_signature_and_paper_stay(client):
    office = make_office()
    first = decided(by=office)
    action, manager = first.action, first.sign_off.person
    old = made(first)
    old_bytes = old.file.read()
    dearer = OptionGiven(**{**_facts(LASTING), "cost_once": Decimal("5200")})

    again = price_action(action.pk, by=office, options=[dearer, CARRY_ON])
    decide(again, by=manager, declined=True)
    second = Decision.objects.exclude(pk=first.pk).get()
    new = made(second)

    assert again.revision > first.revision
    assert (second.revision, second.outcome) == (again.revision, "declined")
    first.refresh_from_db()
    old.refresh_from_db()
    assert (first.outcome, old.file.read()) == ("go_ahead", old_bytes)
    assert digest(SignOff.objects.get(decision=first).content) == first.sign_off.content_hash
    assert "£4,800.00" in words_of(old_bytes)
    assert "£5,200.00" not in words_of(old_bytes)
    assert "£5,200.00" in words(new)
    client.force_login(manager)
    page = client.get(action.get_absolute_url()).text
    for decision, paper in ((first, old), (second, new)):
        assert reverse("compliance:decision_paper", args=[decision.pk]) in page
        assert paper.sha256 in page


def _facts(option: OptionGiven) -> dict[str, object]:
    return {name: getattr(option, name) for name in option.__dataclass_fields__}


# --- taking it away -----------------------------------------------------------------------------


def test_office_and_client_take_it_away_and_the_trail_says_so(client):
    decision = decided()
    paper = made(decision)
    address = reverse("compliance:decision_paper", args=[decision.pk])

    for person in (make_office(), decision.sign_off.person):
        client.force_login(person)
        answer = client.get(address)
        assert b"".join(answer.streaming_content) == paper.file.open().read()
        assert answer["Content-Type"] == "application/pdf"

    told = TrailEntry.objects.filter(verb="decision_paper.downloaded")
    assert {entry.facts["sha256"] for entry in told} == {paper.sha256}
    assert told.count() == 2


def test_who_does_not_see_prices_sees_its_hash_and_not_the_paper(client):
    decision = decided()
    paper = made(decision)
    site = decision.action.site
    auditor, today = make_auditor(), timezone.now().date()
    give_pass(
        auditor, site, period_from=today - timedelta(days=9), period_to=today + timedelta(days=9)
    )
    address = reverse("compliance:decision_paper", args=[decision.pk])
    client.force_login(auditor)

    assert client.get(address).status_code == 404
    page = client.get(decision.action.get_absolute_url()).text

    assert paper.sha256 in page
    assert address not in page
    for stranger in (make_technician(), make_manager()):
        client.force_login(stranger)
        assert client.get(address).status_code == 404


def test_before_it_is_made_the_page_says_so(client):
    decision = decided()
    client.force_login(decision.sign_off.person)

    answer = client.get(reverse("compliance:decision_paper", args=[decision.pk]), follow=True)

    assert "is not made yet" in answer.text
    assert "The paper of this decision is being made." in answer.text


def test_a_stored_file_that_was_changed_or_lost_is_told_on_the_page_and_by_the_command(
    client, capsys
):
    decision = decided()
    paper = made(decision)
    client.force_login(decision.sign_off.person)
    call_command("verify_decision_papers")
    assert "All 1 papers of decisions stand." in capsys.readouterr().out
    assert "It stands as made." in client.get(decision.action.get_absolute_url()).text

    with paper.file.storage.open(paper.file.name, "ab") as stored:
        stored.write(b"\n% more")
    assert "no longer the one that was made" in client.get(decision.action.get_absolute_url()).text
    with pytest.raises(CommandError, match="does not stand"):
        call_command("verify_decision_papers")

    paper.file.storage.delete(paper.file.name)
    assert trouble_of(paper) == "The stored paper is missing."
