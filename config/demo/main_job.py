"""The main job, done once through the pages and addresses that people and phones use.

A spreadsheet comes in, a visit is agreed, booked and made, an action is priced, decided, done and
checked, and an auditor takes the site file away. Every record is new, so that it may be
done again and again beside whatever is on file. Only HTTP is used, but for the letters, which an
installation without a mail server keeps as files.
"""

import email
import hashlib
import io
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from email import policy
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.urls import reverse
from openpyxl import Workbook
from pypdf import PdfReader

from accounts.ids import uuid7
from config.demo import cast, pictures
from config.demo.visitor import PATIENCE_SECONDS, Answer, Unexpected, Upload, Visitor

VISIT_LINK = re.compile(r"/visits/[0-9a-f-]{36}/$")
ACTION_LINK = re.compile(r"/compliance/actions/[0-9a-f-]{36}/$")
CONTRACT_LINE = re.compile(r"/visits/lines/add/[0-9a-f-]{36}/$")

ZONES = (
    ("Kitchen", "kitchen"),
    ("Dry store", "dry_store"),
    ("Cellar", "cellar"),
)
MONITORS = (
    (1, "sticky", "Kitchen", "Behind the range"),
    (2, "sticky", "Kitchen", "Under the sink"),
    (3, "pheromone", "Dry store", "Above the flour bins"),
    (4, "snap_trap", "Cellar", "Foot of the stairs"),
)
REMEDY = "Seal the pipe entry behind the range"


@dataclass
class MainJob:
    """What is done once, step by step; each step says in a line what it did."""

    base_url: str
    keep_in: Path
    today: date
    mark: str
    found: dict[str, str] = field(default_factory=dict)
    day: dict[str, Any] = field(default_factory=dict)
    visit: dict[str, Any] = field(default_factory=dict)

    @property
    def client_name(self) -> str:
        return f"Tidewater Kitchens {self.mark}"

    @property
    def site_name(self) -> str:
        return f"Tidewater Kitchen, Net Loft {self.mark}"

    def steps(self) -> Iterator[Callable[[], str]]:
        """All steps in order."""
        yield self.office_signs_in
        yield self.office_imports
        yield self.office_agrees
        yield self.office_books
        yield self.technician_takes_the_day
        yield self.technician_makes_the_visit
        yield self.office_prices
        yield self.office_invites
        yield self.manager_joins
        yield self.manager_decides
        yield self.technician_reports_done
        yield self.office_checks
        yield self.office_issues_a_pass
        yield self.auditor_takes_the_file

    # --- office ---------------------------------------------------------------------------------

    def office_signs_in(self) -> str:
        self.office = self._signed_in("office", cast.COORDINATOR[0], cast.PASSPHRASE)
        return "signed in"

    def office_imports(self) -> str:
        """Send a spreadsheet, wait for its check, accept it, wait until it is imported."""
        page = self.office.get(reverse("sites:import"))
        job = self.office.submit(
            page.form(reverse("sites:import")), ("file", Upload("new-client.xlsx", self._book()))
        )
        checked = self.office.wait_for(
            job.url, lambda page: page.has_form("/accept/"), "the check of the spreadsheet"
        )
        if "cannot be imported" in checked.words():
            raise Unexpected(f"the spreadsheet has errors: {checked.words()[:600]}")
        self.office.submit(checked.form("/accept/"))
        self.office.wait_for(
            job.url, lambda page: "Imported" in page.words(), "the import of the spreadsheet"
        )
        listed = self.office.get(f"{reverse('sites:list')}?text=Net+Loft+{self.mark}")
        self.found["site"] = listed.link(self.site_name)
        return (
            f"imported 2 sites, {len(ZONES) + 1} zones, {len(MONITORS)} monitors, 4 past readings"
        )

    def office_agrees(self) -> str:
        """A contract, and one service line of which the days were looked at first."""
        form = self.office.get(f"{self._site_path()}contracts/new/").form("/contracts/new/")
        self.office.submit(
            form,
            ("number", f"K-{self.mark}"),
            ("starts_on", self.today.isoformat()),
            ("scope", "Cockroaches, rodents and stored-product insects, indoors."),
        )
        add = self._first(self.office.get(self.found["site"]), CONTRACT_LINE, "a contract")
        form = self.office.get(add).form(urlsplit(add).path)
        facts = (
            ("title", "Routine inspection"),
            ("kind", "routine"),
            ("first_on", self.today.isoformat()),
            ("pattern", "weeks"),
            ("weeks", "4"),
            ("weekdays", str(self.today.weekday())),
            ("price", "94"),
        )
        looked_at = self.office.submit(form, *facts).form(urlsplit(add).path)
        agreed = self.office.submit(looked_at, *facts, ("step", "agree"))
        self.found["visit"] = self._first(agreed, VISIT_LINK, "the first visit")
        return "agreed a contract and a routine inspection every 4 weeks"

    def office_books(self) -> str:
        page = self.office.get(self.found["visit"])
        form = page.form("/book/")
        booked = self.office.submit(
            form,
            ("technician", form.option("technician", cast.TECHNICIANS[0][1])),
            ("day", self.today.isoformat()),
        )
        if "Booked for" not in booked.words():
            raise Unexpected(f"the visit was not booked: {booked.words()[:400]}")
        return f"booked the first visit for {cast.TECHNICIANS[0][1]}, today"

    def office_prices(self) -> str:
        """The visit has raised an action; put two ways to answer it to the client."""
        page = self.office.wait_for(
            self.found["site"], lambda page: REMEDY in page.words(), "the action of the visit"
        )
        self.found["action"] = page.link(REMEDY)
        form = self.office.get(f"{self._action_path()}price/").form("/price/")
        priced = self.office.submit(
            form,
            ("option-0-kind", "lasting"),
            ("option-0-description", "Steel mesh and mortar round the pipe."),
            ("option-0-cost_once", "380"),
            ("option-0-cost_monthly", "0"),
            ("option-0-life_years", "10"),
            ("option-0-remaining_risk", "Little, while no new pipe is led through."),
            ("option-1-kind", "carry_on"),
            ("option-1-description", "Gel on every visit."),
            ("option-1-cost_once", "0"),
            ("option-1-cost_monthly", "45"),
            ("option-1-remaining_risk", "Cockroaches come back through the entry."),
        )
        if "asked to decide" not in priced.words():
            raise Unexpected(f"the options were not put: {priced.words()[:400]}")
        return f"put two options to {self.client_name}"

    def office_invites(self) -> str:
        """Invite the client's manager; the letter goes out by a job."""
        self.found["email"] = f"manager-{self.mark.lower()}@tidewater.example"
        form = self.office.get(reverse("accounts:invite")).form("/invite/")
        self.office.submit(
            form,
            ("name", "Rosalind Tey"),
            ("email", self.found["email"]),
            ("role", "client_manager"),
            ("client", form.option("client", self.client_name)),
            ("job_title", "Operations"),
        )
        return "invited Rosalind Tey, who manages it"

    def office_checks(self) -> str:
        form = self.office.get(f"{self._action_path()}check/").form("/check/")
        checked = self.office.submit(
            form, ("note", "Mortar whole all round."), ("password", cast.PASSPHRASE)
        )
        if "is checked" not in checked.words():
            raise Unexpected(f"the work was not checked: {checked.words()[:400]}")
        return "checked the finished work and signed"

    def office_issues_a_pass(self) -> str:
        page = self.office.get(reverse("sites:passes"))
        choice = next(one for one in page.forms() if "client" in one.options)
        page = self.office.submit(choice, ("client", choice.option("client", self.client_name)))
        form = next(one for one in page.forms() if "auditor" in one.options)
        self.office.submit(
            form,
            ("auditor", form.option("auditor", cast.AUDITOR[1])),
            ("sites", form.option("sites", self.site_name)),
            ("period_from", (self.today - timedelta(days=60)).isoformat()),
            ("period_to", self.today.isoformat()),
            ("valid_until", (self.today + timedelta(days=7)).isoformat()),
            ("purpose", "Main job of the demo"),
        )
        return f"issued a pass for one site to {cast.AUDITOR[1]}"

    # --- technician -----------------------------------------------------------------------------

    def technician_takes_the_day(self) -> str:
        """Fetch the package of the day, as the phone does while it has a signal."""
        self.technician = self._signed_in("technician", cast.TECHNICIANS[0][0], cast.PASSPHRASE)
        package = self.technician.get(reverse("visits:package")).json()
        visit_id = self._visit_id()
        for one in package["visits"]:
            if one["id"] == visit_id:
                self.visit, self.day = one, package
                return f"took the day: {len(package['visits'])} visits"
        raise Unexpected("the visit is not in the package of the day")

    def technician_makes_the_visit(self) -> str:
        """Send everything the phone logged in one request, then once more as a retry does."""
        operations = list(self._operations())
        photo = pictures.photo("chase", Random(self.mark))
        sync = reverse("visits:sync")
        token = self.technician.get(sync).json()["csrf"]
        self.technician.post_fields(
            reverse("visits:photo", args=[self._visit_id()]),
            [("photo", Upload("entry.jpg", photo))],
            token,
            expect=201,
        )
        for turn in ("first", "second"):
            sent = {"operations": operations}
            answers = self.technician.post_json(sync, sent, token).json()["answers"]
            odd = [one for one in answers if one["verdict"] != "applied"]
            again = [one for one in answers if one.get("again")]
            if odd or len(again) != (len(answers) if turn == "second" else 0):
                raise Unexpected(f"the {turn} sync was not taken in as it should be: {answers}")
        closed = self.technician.get(self.found["visit"])
        if "Closed" not in closed.words():
            raise Unexpected(f"the visit is not closed: {closed.words()[:400]}")
        return f"made the visit: {len(operations)} operations sent, twice, applied once; closed"

    def technician_reports_done(self) -> str:
        form = self.technician.get(f"{self._action_path()}done/").form("/done/")
        photo = pictures.photo("sealed", Random(self.mark))
        done = self.technician.submit(
            form, ("note", "Closed with mesh and mortar."), ("photos", Upload("done.jpg", photo))
        )
        if "waits to be checked" not in done.words():
            raise Unexpected(f"the work was not reported: {done.words()[:400]}")
        return "reported the sealed pipe entry done, with a photo"

    # --- client manager and auditor -------------------------------------------------------------

    def manager_joins(self) -> str:
        """Take up the invitation from the letter, and sign in."""
        path = self._link_in_letter(self.found["email"])
        browser = Visitor(self.base_url, "manager")
        self.found["password"] = f"net loft and {self.mark} tides"
        form = browser.get(path).form(path)
        browser.submit(
            form, ("password", self.found["password"]), ("again", self.found["password"])
        )
        self.manager = self._signed_in("manager", self.found["email"], self.found["password"])
        return "joined by the link in the letter and signed in"

    def manager_decides(self) -> str:
        page = self.manager.get(self._action_path())
        form = page.form("/decide/")
        answers = [value for value in form.options["answer"].values() if value != "decline"]
        signed = self.manager.submit(
            form, ("answer", answers[0]), ("password", self.found["password"])
        )
        if "Signed: go ahead" not in signed.words():
            raise Unexpected(f"the decision was not signed: {signed.words()[:400]}")
        return "chose the lasting work and signed with the password typed again"

    def auditor_takes_the_file(self) -> str:
        """Ask for the site file, wait until it is built, download it, and read it."""
        auditor = self._signed_in("auditor", cast.AUDITOR[0], cast.PASSPHRASE)
        auditor.get(self._site_path())
        address = reverse("compliance:site_files", args=[self._site_id()])
        asked = auditor.submit(auditor.get(address).form(address))
        ready = auditor.wait_for(
            asked.url,
            lambda page: "Download the PDF" in page.words() or "could not" in page.words(),
            "the site file",
        )
        paper = auditor.get(ready.link("Download the PDF"))
        if not paper.body.startswith(b"%PDF"):
            raise Unexpected(f"the site file is no PDF: {paper.body[:80]!r}")
        hashed = hashlib.sha256(paper.body).hexdigest()
        if hashed not in ready.text:
            raise Unexpected("the page names another SHA-256 than that of the file")
        reader = PdfReader(io.BytesIO(paper.body))
        words = " ".join(page.extract_text() for page in reader.pages)
        if self.site_name not in " ".join(words.split()):
            raise Unexpected("the site file does not name its site")
        kept = self.keep_in / f"site-file-{self.mark}.pdf"
        kept.write_bytes(paper.body)
        return f"downloaded the site file, {len(reader.pages)} pages: {kept}"

    # --- what the steps share -------------------------------------------------------------------

    def _signed_in(self, who: str, address: str, password: str) -> Visitor:
        visitor = Visitor(self.base_url, who)
        path = reverse("account_login")
        home = visitor.submit(
            visitor.get(path).form(path), ("login", address), ("password", password)
        )
        if home.has_form(path):
            raise Unexpected(f"{address} could not sign in: {home.words()[:300]}")
        return visitor

    def _site_path(self) -> str:
        return urlsplit(self.found["site"]).path

    def _site_id(self) -> str:
        return self._site_path().strip("/").rpartition("/")[2]

    def _visit_id(self) -> str:
        return urlsplit(self.found["visit"]).path.strip("/").rpartition("/")[2]

    def _action_path(self) -> str:
        return urlsplit(self.found["action"]).path

    @staticmethod
    def _first(page: Answer, pattern: re.Pattern[str], what: str) -> str:
        for href, _ in page.links():
            if pattern.search(urlsplit(href).path):
                return href
        raise Unexpected(f"{page.url} has no link to {what}")

    def _link_in_letter(self, address: str) -> str:
        """The invitation's link from the newest letter to somebody."""
        end = time.monotonic() + PATIENCE_SECONDS
        while time.monotonic() < end:
            for file in Path(settings.EMAIL_FILE_PATH).glob("*.log"):
                letter = email.message_from_bytes(file.read_bytes(), policy=policy.default)
                if address not in str(letter["To"]):
                    continue
                body = letter.get_body(("plain",))
                link = re.search(r"https?://\S+/join/\S+", body.get_content() if body else "")
                if link:
                    return urlsplit(link.group()).path
            time.sleep(0.5)
        raise Unexpected(
            f"no letter to {address} in {settings.EMAIL_FILE_PATH}; are the jobs running, and are "
            "letters kept as files?"
        )

    def _book(self) -> bytes:
        """The spreadsheet of a new client: two sites, one of them with all that stands in it."""
        book = Workbook()
        read_on = self.today - timedelta(days=28)
        references = (f"T{self.mark}-1", f"T{self.mark}-2")
        sheets: dict[str, list[tuple[Any, ...]]] = {
            "clients": [
                ("client_reference", "client_name"),
                (f"T{self.mark}", self.client_name),
            ],
            "sites": [
                ("site_reference", "client_reference", "site_name", "address"),
                (references[0], f"T{self.mark}", self.site_name, "3 Net Loft Lane, Port Marlow"),
                (
                    references[1],
                    f"T{self.mark}",
                    f"Tidewater Kitchen, Slipway {self.mark}",
                    "9 Slipway, Port Marlow",
                ),
            ],
            "zones": [
                ("site_reference", "zone_name", "zone_kind"),
                *((references[0], name, kind) for name, kind in ZONES),
                (references[1], "Kitchen", "kitchen"),
            ],
            "monitors": [
                (
                    "site_reference",
                    "monitor_number",
                    "monitor_kind",
                    "zone_name",
                    "place",
                    "placed_on",
                ),
                *(
                    (references[0], number, kind, zone, place, self.today - timedelta(days=60))
                    for number, kind, zone, place in MONITORS
                ),
            ],
            "readings": [
                ("site_reference", "monitor_number", "read_on", "pest", "count"),
                (references[0], 1, read_on, "German cockroach", 2),
                (references[0], 2, read_on, None, None),
                (references[0], 3, read_on, "Indian meal moth", 1),
                (references[0], 4, read_on, None, None),
            ],
        }
        for name, rows in sheets.items():
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row)
        book.remove(book.worksheets[0])
        data = io.BytesIO()
        book.save(data)
        return data.getvalue()

    def _operations(self) -> Iterator[dict[str, Any]]:
        """The log of the phone for this visit, in the order of the walk."""
        began = datetime.now(UTC) - timedelta(minutes=30)
        made: list[tuple[str, dict[str, Any]]] = [("visit.start", {})]
        zones = self.visit["zones"]
        kitchen = next(one for one in zones if one["name"] == "Kitchen")
        found_at, shut = kitchen["checkpoints"][0], None
        for zone in zones:
            for checkpoint in zone["checkpoints"]:
                if checkpoint["id"] == found_at["id"]:
                    continue
                if zone["name"] == "Cellar" and shut is None:
                    shut = checkpoint
                    continue
                made.append(("look.add", {"checkpoint": checkpoint["id"]}))
            for monitor in zone["monitors"]:
                counts = {"german-cockroach": 4} if monitor["number"] == 1 else {}
                made.append(
                    (
                        "reading.set",
                        {"monitor": monitor["id"], "counts": counts, "renewed": bool(counts)},
                    )
                )
        photo = hashlib.sha256(pictures.photo("chase", Random(self.mark))).hexdigest()
        made.append(
            (
                "finding.set",
                {
                    "finding": str(uuid7()),
                    "zone": kitchen["id"],
                    "checkpoint": found_at["id"],
                    "kind": "entry_point",
                    "pest": "german-cockroach",
                    "urgency": "soon",
                    "note": "The wall is open round the pipe.",
                    "remedy_kind": "proofing",
                    "remedy": REMEDY,
                    "whose_move": "us",
                    "photos": [photo],
                },
            )
        )
        if shut:
            made.append(
                (
                    "not_reached.set",
                    {
                        "checkpoint": shut["id"],
                        "reason": "blocked",
                        "whose_move": "client",
                        "note": "Crates in front of it.",
                    },
                )
            )
        made.append(("treatment.set", self._treatment(kitchen, began)))
        made.append(("contact.set", {"contact_name": "Ysella Moor", "summary": "Round made."}))
        made.append(
            (
                "visit.close",
                {
                    "contact_name": "Ysella Moor",
                    "contact_job_title": "Head chef",
                    "summary": "Round made; gel at the range, one place in the cellar blocked.",
                    "signature_typed": "Ysella Moor",
                    "operations": len(made),
                },
            )
        )
        for seq, (kind, body) in enumerate(made, start=1):
            yield {
                "id": str(uuid7()),
                "device": f"demo-{self.mark}",
                "seq": seq,
                "visit": self._visit_id(),
                "kind": kind,
                "body": body,
                "made_at": (began + timedelta(seconds=15 * seq)).isoformat(),
                "offset_minutes": 0,
            }

    def _treatment(self, zone: dict[str, Any], began: datetime) -> dict[str, Any]:
        gel = next(one for one in self.day["products"] if one["name"] == "Demo gel 0.5")
        return {
            "treatment": str(uuid7()),
            "zone": zone["id"],
            "product": gel["id"],
            "target": "german-cockroach",
            "method": "gel",
            "place": "Hinges of the range",
            "amount": "1.2",
            "started_at": (began + timedelta(minutes=10)).isoformat(),
            "finished_at": (began + timedelta(minutes=14)).isoformat(),
            "batch_number": "DEMO2041",
            "equipment": "Bait gun",
            "situation": "Painted steel",
            "dilution": "Ready to use, 0.2 g a point",
            "area": "6",
            "area_unit": "points",
            "precautions": "Head chef told to leave the points alone.",
        }
