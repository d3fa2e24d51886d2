"""An invented site file, large enough to print every kind of thing that one can hold."""

from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from hashlib import sha256
from io import BytesIO
from zoneinfo import ZoneInfo

from PIL import Image, ImageDraw

from compliance.evidence import Standing
from compliance.sitefile.content import (
    Action,
    Amendment,
    Attendance,
    Breach,
    Company,
    Competence,
    ContactPerson,
    Contract,
    Coverage,
    Decision,
    Document,
    Evidence,
    Finding,
    Made,
    Monitor,
    NotReached,
    Option,
    Outcome,
    Outline,
    Person,
    Photo,
    Pin,
    PlaceTrend,
    Plan,
    Reading,
    ServiceLine,
    Signature,
    SignOff,
    SiteFacts,
    SiteFile,
    StandingNotReached,
    TrailEntry,
    Treatment,
    TrendAlarm,
    TrendMonth,
    TrendReview,
    Trends,
    Visit,
    WorkEffect,
    Zone,
)

ZONE = "Europe/London"
KINDS = (
    ("sticky", "Crawling-insect sticky trap"),
    ("bait_station", "Rodent bait station"),
    ("snap_trap", "Rodent snap trap"),
    ("fly_light", "Fly light trap"),
    ("pheromone", "Pheromone trap"),
    ("indicator", "Non-toxic indicator"),
)
ZONES = ("Bakehouse", "Dry store", "Wash-up", "Waste area", "Delivery door", "Plant room")


def seal(words: str) -> str:
    return sha256(words.encode()).hexdigest()


def local(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), ZoneInfo(ZONE)).astimezone(UTC)


def picture(words: str, size: tuple[int, int] = (900, 675), kind: str = "JPEG") -> bytes:
    image = Image.new("RGB", size, "#efe9dc")
    draw = ImageDraw.Draw(image)
    draw.rectangle((60, 60, size[0] - 60, size[1] - 60), outline="#55606a", width=6)
    draw.line((60, size[1] // 2, size[0] - 60, size[1] // 2), fill="#8a8f93", width=4)
    draw.line((size[0] // 2, 60, size[0] // 2, size[1] - 60), fill="#8a8f93", width=4)
    draw.text((90, 80), words, fill="#1c242b")
    data = BytesIO()
    image.save(data, kind)
    return data.getvalue()


def sample_media(visits: int = 3) -> dict[str, bytes]:
    media = {"plan-1.png": picture("Ground floor", (1600, 1000), "PNG")}
    for number in range(1, visits + 1):
        media[f"gap-{number}.jpg"] = picture(f"Gap under the delivery door, visit {number}")
        media[f"drain-{number}.jpg"] = picture(f"Drain without its grid, visit {number}")
    media["strip.jpg"] = picture("Bristle strip fitted")
    return media


def sample_monitors(number: int) -> tuple[Monitor, ...]:
    return tuple(
        Monitor(
            number=n,
            kind=KINDS[n % len(KINDS)][1],
            kind_code=KINDS[n % len(KINDS)][0],
            zone=ZONES[n % len(ZONES)],
            place=f"Behind rack {n}, left of the door",
            label_code=f"7K3M9PQR2TVW{n:04d}",
            placed_on=date(2025, 3, 3),
            removed_on=date(2026, 2, 10) if n == 5 else None,
            plan="Ground floor",
        )
        for n in range(1, number + 1)
    )


def sample_place(
    zone: str, pest: str, counts: tuple[int | None, ...], first: date = date(2025, 7, 1)
) -> PlaceTrend:
    """A place read from July 2025 on, in 310 trap-days a month; None: not read. The first two
    months are not yet known, and from a count of 9 on a month is an alarm."""
    months = []
    for place, count in enumerate(counts):
        number = first.year * 12 + first.month - 1 + place
        known = place >= 2 and count is not None
        state = "calm" if known else "not_yet_known" if count is not None else "not_read"
        months.append(
            TrendMonth(
                month=date(number // 12, number % 12 + 1, 1),
                count=count or 0,
                trap_days=310.0 if count is not None else 0.0,
                state="alarm" if known and count >= 9 else state,
                at_least=count == 12,
                centre=0.7 if known else None,
                limit=2.9 if known else None,
                allows=1.9 if count is not None else None,
            )
        )
    return PlaceTrend(zone, pest, tuple(months))


def sample_trends() -> Trends:
    return Trends(
        monitors=48,
        trap_days=14_880.0,
        readings=576,
        places=(
            sample_place("", "German cockroach", (4, 3, 2, None, 3, 4, 2, 13, 6, 3, 2, 1)),
            sample_place("Bakehouse", "German cockroach", (3, 2, 1, None, 2, 3, 1, 12, 5, 2, 1, 1)),
            sample_place("Dry store", "German cockroach", (1, 1, 1, None, 1, 1, 1, 1, 1, 1, 1, 0)),
            sample_place("Dry store", "Indian meal moth", (0,) * 12),
        ),
        alarms=(
            TrendAlarm(
                month=date(2026, 2, 1),
                zone="Bakehouse",
                pest="German cockroach",
                state="Explained by a review",
                is_open=False,
                words="12 this month where about 2 was to be expected: more than chance brings.",
                look_first=("Monitor 7: 9", "Monitor 13: 3"),
                explanation="The oven line was moved and its chase stood open.",
            ),
            TrendAlarm(
                month=date(2026, 2, 1),
                zone="",
                pest="German cockroach",
                state="Open",
                is_open=True,
                words="13 this month where about 4 was to be expected: more than chance brings.",
            ),
        ),
        breaches=(
            Breach(
                on=date(2026, 2, 3),
                threshold="Cockroaches where food is made",
                zone="Bakehouse",
                pest="German cockroach",
                state="Answered",
                is_open=False,
                words="9 at one reading, agreed to act from 5.",
                monitor=7,
                answer="Treated the same day; the chase is to be sealed.",
                action_number=4,
            ),
            Breach(
                on=date(2026, 3, 1),
                threshold="Cockroaches in a month",
                zone="Bakehouse",
                pest="German cockroach",
                state="Open",
                is_open=True,
                words="1.6 per 100 trap-days, agreed to act from 1.5.",
            ),
        ),
        effects=(
            WorkEffect(
                first_on=date(2026, 2, 3),
                on=date(2026, 2, 24),
                zone="Bakehouse",
                pest="German cockroach",
                what=("Demo gel 0.5 (gel placement)", "Demo dust P (crack and crevice)"),
                state="Fewer caught",
                words="Down to about a third of what it was (between a sixth and two thirds).",
                notes=("What was read while it went on counts on neither side.",),
            ),
        ),
        reviews=(
            TrendReview(
                title="2026, quarter 1",
                seen="One month of the bakehouse stands out; all others are as usual.",
                cause="An open chase behind the ovens.",
                plan="The chase is sealed by the end of March.",
                name="Iris Calder",
                role="Field biologist",
                competence="Level 3 award, PM-1042",
                at=local(date(2026, 4, 2), 11, 15),
                zone=ZONE,
                method="password",
                content_hash=seal("review"),
            ),
        ),
    )


def sample_treatment(day: date) -> Treatment:
    return Treatment(
        product="Demo gel 0.5",
        registration_number="DEMO-0001",
        actives="imidacloprid 0.5 % w/w",
        target="German cockroach",
        method="Gel placement",
        zone="Bakehouse",
        place="Hinges and pipe chase, left of oven 2",
        situation="Steel and tile",
        amount=Decimal("4.50"),
        unit="g",
        dilution="Ready to use, 0.1 g a point",
        area=Decimal("45"),
        area_unit="points",
        started_at=local(day, 9, 35),
        finished_at=local(day, 9, 55),
        applicator="Iris Calder",
        applicator_licence="PM-1042",
        batch_number="B2210",
        equipment="Bait gun",
        precautions="Oven line stopped and cool; no food in the room.",
        cautions=("Keep bait off surfaces that have been sprayed.",),
        label_cautions="Keep out of reach of children. Do not apply to food-contact surfaces.",
        re_entry="At once, once the surfaces are dry",
        is_demo=True,
        elements=(
            ("Product", "Demo gel 0.5"),
            ("Registration number", "DEMO-0001"),
            ("Batch or lot", "B2210"),
            ("Amount of product", "4.5 g"),
            ("Place treated", "Hinges and pipe chase, left of oven 2"),
            ("Target pest", "German cockroach"),
            ("Applied by", "Iris Calder"),
            ("Licence valid that day", "PM-1042"),
        ),
        missing=("Wind from",),
    )


def sample_visit(number: int, monitors: tuple[Monitor, ...]) -> Visit:
    due_on = date(2026, 1, 6) + timedelta(days=14 * (number - 1))
    made_on = due_on + timedelta(days=6 if number == 2 else 0)
    readings = tuple(
        Reading(
            monitor=one.number,
            day=made_on,
            condition="Damaged" if one.number == 7 else "Sound",
            condition_code="damaged" if one.number == 7 else "sound",
            counts=(("German cockroach", 3 + number),) if one.number == 1 else (),
            bait_taken="Part taken" if one.kind_code == "bait_station" and number == 1 else "",
            bait_code="part" if one.kind_code == "bait_station" and number == 1 else "",
            stood_days=14,
        )
        for one in monitors
        if one.number % 10 != 9 and (one.removed_on is None or one.removed_on >= made_on)
    )
    return Visit(
        outcome=Outcome.CLOSED,
        state="Closed",
        kind="Routine inspection",
        line="Fortnightly inspection",
        due_on=due_on,
        opens_on=due_on - timedelta(days=3),
        closes_on=due_on + timedelta(days=3),
        booked_on=made_on,
        technician="Iris Calder",
        started_at=local(made_on, 9, 5),
        closed_at=local(made_on, 10, 20),
        received_at=local(made_on, 10, 41),
        minutes_on_site=95 if number == 1 else 75,
        minutes_reason="Waited for the key of the cellar." if number == 1 else "",
        summary="Bakehouse walked with the baker on duty.\nThe plant room was locked again.",
        signature=Signature(
            name="Morgan Pell",
            job_title="Shift leader",
            strokes=(((0.1, 0.6), (0.3, 0.2), (0.5, 0.8), (0.9, 0.4)), ((0.2, 0.9), (0.8, 0.85))),
        ),
        coverage=Coverage(18, 16, len(monitors), len(readings)),
        findings=(
            Finding(
                zone="Delivery door",
                kind="Entry point",
                urgency="At once",
                note="Daylight under the left leaf, 12 mm over 90 cm.",
                height="Low",
                place="Left leaf",
                pest="Brown rat",
                remedy_kind="Proofing",
                remedy="Fit a bristle strip of 25 mm to both leaves.",
                whose_move="The client",
                action_number=4,
                photos=(
                    Photo(f"gap-{number}.jpg", "daylight under the delivery door"),
                    Photo(f"drain-{number}.jpg", "drain without its grid"),
                ),
            ),
            Finding(
                zone="Bakehouse",
                kind="Live pests",
                urgency="Soon",
                note="",
                place="Hinges of oven 2",
                pest="German cockroach",
                count=3,
            ),
        ),
        readings=readings,
        treatments=(sample_treatment(made_on),),
        not_reached=(
            NotReached(
                "Plant room", "The whole zone", "Locked", "Somebody else", "Key with a tenant"
            ),
        ),
        amendments=(
            (
                Amendment(
                    1,
                    "Iris Calder",
                    local(made_on + timedelta(days=1), 8),
                    "Reading of monitor 1",
                    "Four cockroaches, not five.",
                    "Counted again on the photo.",
                    seal(f"visit {number}"),
                    seal("amendment 1"),
                ),
            )
            if number == 2
            else ()
        ),
        seal_number=number,
        previous_seal=seal(f"visit {number - 1}") if number > 1 else "0" * 64,
        seal=seal(f"visit {number}"),
    )


def sample_file(visits: int = 3, monitors: int = 24) -> SiteFile:
    devices = sample_monitors(monitors)
    closed = tuple(sample_visit(number, devices) for number in range(1, visits + 1))
    days = tuple(date(2026, 1, 6) + timedelta(days=14 * number) for number in range(visits))
    return SiteFile(
        company=Company(
            name="Fennimore & Tull Site Hygiene",
            address="4 Ropewalk, Port Marlow",
            phone="01632 960 001",
            email="office@fennimore-tull.example",
            registration="Registered contractor FT-77",
        ),
        site=SiteFacts(
            name="Harbour Lane Bakery",
            reference="HLB-01",
            address="12 Harbour Lane\nPort Marlow",
            postcode="PM1 4QQ",
            zone=ZONE,
            client="Saltgrain Bakeries",
            client_reference="SALT",
            client_address="1 Granary Square\nPort Marlow",
            hazards="Hot ovens. Forklift in the yard.",
            entry_times=("Monday to Friday 06:00–14:00",),
            contacts=(
                ContactPerson("Ada Wren", "Bakery manager", True),
                ContactPerson("Morgan Pell"),
            ),
        ),
        period_from=date(2026, 1, 1),
        period_to=date(2026, 6, 30),
        made=Made(
            at=datetime(2026, 7, 1, 13, 5, tzinfo=UTC),
            by="Priya Lund",
            role="Auditor",
            trail_length=311,
            trail_head=seal("trail head"),
        ),
        contracts=(
            Contract(
                number="C-2025-07",
                starts_on=date(2025, 3, 1),
                ends_on=None,
                scope="Crawling insects, flying insects and rodents in all zones within our remit.",
                response_hours=24,
                lines=(
                    ServiceLine(
                        title="Fortnightly inspection",
                        kind="Routine inspection",
                        rule="FREQ=WEEKLY;INTERVAL=2;BYDAY=TU",
                        in_words="Every second week on Tuesday",
                        first_on=date(2025, 3, 4),
                        last_on=None,
                        days_before=3,
                        days_after=3,
                        minutes=60,
                        competences=("Certificate in pest management",),
                    ),
                ),
            ),
        ),
        zones=tuple(
            Zone(
                name=name,
                kind="Production area",
                boundary="Outside our remit" if name == "Plant room" else "Within our remit",
                boundary_note="Belongs to the landlord." if name == "Plant room" else "",
                low=2,
                reach=2,
                overhead=1,
                monitors=monitors // len(ZONES),
            )
            for name in ZONES
        ),
        people=(
            Person(
                name="Iris Calder",
                role="Technician",
                competences=(
                    Competence(
                        "Certificate in pest management",
                        "PM-1042",
                        "Demonstration institute",
                        date(2024, 1, 1),
                        date(2026, 1, 31),
                    ),
                ),
                attended=tuple(
                    Attendance(day, ("Certificate in pest management",)) for day in days
                ),
            ),
        ),
        plans=(
            Plan(
                title="Ground floor",
                media="plan-1.png",
                width=1600,
                height=1000,
                pins=tuple(
                    Pin(
                        one.number,
                        one.kind_code,
                        0.1 + (one.number % 6) * 0.15,
                        0.2 + one.number * 0.02,
                    )
                    for one in devices
                ),
                outlines=(
                    Outline("Bakehouse", ((0.05, 0.08), (0.5, 0.08), (0.5, 0.5), (0.05, 0.5))),
                ),
            ),
        ),
        monitors=devices,
        visits=(
            *closed,
            Visit(
                outcome=Outcome.MISSED,
                state="Missed",
                kind="In-depth survey",
                due_on=date(2026, 5, 4),
                opens_on=date(2026, 5, 1),
                closes_on=date(2026, 5, 8),
                state_reason="Nobody could let the technician in.",
            ),
            Visit(
                outcome=Outcome.CALLED_OFF,
                state="Called off",
                kind="Follow-up",
                due_on=date(2026, 5, 20),
                opens_on=date(2026, 5, 18),
                closes_on=date(2026, 5, 22),
                state_reason="The bakery was closed for works.",
            ),
        ),
        not_reached=(
            StandingNotReached(
                "Plant room",
                "The whole zone",
                "Locked",
                "Somebody else",
                date(2026, 1, 6),
                date(2026, 2, 3),
                3,
            ),
            StandingNotReached(
                "Dry store",
                "Monitor 9",
                "Blocked by goods or equipment",
                "The client",
                date(2026, 1, 6),
                date(2026, 1, 6),
                1,
                date(2026, 1, 20),
            ),
        ),
        actions=(
            Action(
                number=4,
                title="Gap under the delivery door",
                kind="Proofing",
                zone="Delivery door",
                whose_move="The client",
                state="Decided",
                is_open=True,
                raised_at=local(date(2026, 1, 6), 10, 21),
                raised_by="Iris Calder",
                due_on=date(2026, 2, 28),
                detail="Both leaves let daylight through at the floor.",
                from_visit_on=date(2026, 1, 6),
                break_even="The bristle strip costs less than carrying on from month 8.",
                options=(
                    Option(
                        "Lasting work",
                        "Bristle strips on both leaves",
                        Decimal("240"),
                        Decimal("0"),
                        5,
                        "Little, while the strips are kept whole",
                        ((1, Decimal("240")), (3, Decimal("240"))),
                        chosen=True,
                    ),
                    Option(
                        "Carry on treating",
                        "Bait stations at the door, a visit a month",
                        Decimal("0"),
                        Decimal("31.50"),
                        None,
                        "Rats can come in at any time",
                        ((1, Decimal("378")), (3, Decimal("1134"))),
                    ),
                ),
                decisions=(Decision(1, "Go ahead", "Bristle strips on both leaves"),),
                sign_offs=(
                    SignOff(
                        "Ada Wren",
                        "Bakery manager, Saltgrain Bakeries",
                        "Orders the work described",
                        local(date(2026, 1, 9), 15, 2),
                        ZONE,
                        "password",
                        seal("decision"),
                    ),
                ),
                photos=(Photo("strip.jpg", "After: bristle strip fitted"),),
            ),
        ),
        documents=(
            Document(
                "Insurance",
                "Public liability cover",
                "Service company",
                date(2025, 4, 1),
                date(2026, 3, 31),
                seal("insurance"),
            ),
            Document(
                "Risk assessment",
                "Site risk assessment",
                "Site",
                date(2026, 1, 2),
                None,
                seal("risk"),
            ),
        ),
        evidence=(
            Evidence(
                "A contract for the service, in force",
                ("BRCGS Food Safety issue 9 (source not confirmed)", "EN 16636:2015"),
                Standing.CURRENT,
                "A contract of this site runs today.",
                "Contract C-2025-07.",
                "contract",
            ),
            Evidence(
                "An in-depth survey beyond the monitors",
                ("GFSI schemes",),
                Standing.MISSING,
                "A survey within twelve months.",
                "No survey is on file.",
                "visits",
            ),
            Evidence(
                "Insurance",
                ("Common practice",),
                Standing.NOT_CURRENT,
                "Insurance is on file and has not expired.",
                "Public liability cover, expired Tue 31 Mar 2026.",
                "documents",
            ),
            Evidence("Minutes of review meetings", ("GFSI schemes",), Standing.NOT_KEPT),
        ),
        trends=sample_trends(),
        trail=tuple(
            TrailEntry(
                300 + n,
                local(date(2026, 1, 6), 10, 20 + n),
                "Iris Calder",
                "Technician",
                "closed the visit",
                f"Routine inspection, visit {n}",
                "state: under way to closed",
                seal(f"entry {n}"),
            )
            for n in range(1, 6)
        ),
    )
