"""Plans, documents and photos are kept, replaced and put aside; nothing is stored twice."""

from datetime import UTC, date, datetime

import pytest

from accounts.models import TrailEntry
from accounts.refusals import NotAllowed, Unusable, WrongState
from accounts.sealing import digest
from sites.models import Document, Photo, Site, SitePlan
from sites.services.documents import add_document, replace_document, withdraw_document
from sites.services.monitors import mark_monitor
from sites.services.photos import add_photo
from sites.services.plans import add_plan, retire_plan
from sites.services.storage import NoRoom
from sites.services.zones import draw_zone
from tests.builders.accounts import make_client
from tests.builders.files import SVG, pdf_bytes, picture_bytes
from tests.builders.sites import make_monitor, make_site, make_zone

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)


class TestPlans:
    def test_a_plan_is_kept_as_a_picture_of_ours(self, office, trail):
        site = make_site()
        told = trail()

        plan = add_plan(site.pk, by=office, title="Ground floor", data=pdf_bytes())

        assert (plan.mime, plan.width, plan.height) == ("image/png", 3000, 1500)
        assert digest(plan.image.read()) == plan.sha256
        assert trail() == [*told, "plan.added"]

    def test_what_is_no_drawing_leaves_nothing(self, office, trail):
        site = make_site()
        told = trail()

        with pytest.raises(Unusable):
            add_plan(site.pk, by=office, title="Ground floor", data=SVG)

        assert (SitePlan.objects.exists(), trail()) == (False, told)

    def test_out_of_use_it_lets_go_of_what_is_marked_on_it(self, office, trail):
        zone = make_zone(make_site())
        monitor = make_monitor(zone)
        plan = add_plan(zone.site_id, by=office, title="Old", data=picture_bytes())
        mark_monitor(monitor.pk, by=office, plan_id=plan.pk, x=0.5, y=0.5)
        draw_zone(zone.pk, by=office, plan_id=plan.pk, corners=[(0, 0), (1, 0), (1, 1)])

        retire_plan(plan.pk, by=office)

        zone.refresh_from_db()
        monitor.refresh_from_db()
        assert (zone.plan, zone.outline, monitor.plan, monitor.x) == (None, [], None, None)
        assert TrailEntry.objects.get(verb="plan.retired").facts == {"monitors": 1, "zones": 1}

    def test_it_is_put_out_of_use_once(self, office):
        plan = add_plan(make_site().pk, by=office, title="Old", data=picture_bytes())
        retire_plan(plan.pk, by=office)

        with pytest.raises(WrongState, match="out of use already"):
            retire_plan(plan.pk, by=office)


class TestDocuments:
    def paper(self, home, office, **facts):
        told = {"kind": Document.Kind.INSURANCE, "title": "Liability", "data": pdf_bytes(), **facts}
        return add_document(home, by=office, **told)

    def test_a_paper_belongs_to_a_site_a_client_or_the_company(self, office):
        site, client = make_site(), make_client()

        homes = [
            (one.site, one.client)
            for one in (self.paper(home, office) for home in (site, client, None))
        ]

        assert homes == [(site, None), (None, client), (None, None)]

    def test_it_is_stored_under_a_name_of_ours_with_its_hash(self, office, trail):
        data = pdf_bytes()

        paper = self.paper(make_site(), office, data=data, title="../../etc/passwd")

        assert paper.file.name.endswith(f"{paper.pk}.pdf")
        assert (paper.sha256, paper.size, paper.file.read()) == (digest(data), len(data), data)
        assert trail()[-1] == "document.added"

    def test_a_newer_issue_stands_before_the_earlier(self, office, trail):
        earlier = self.paper(make_site(), office, expires_on=date(2026, 6, 1))
        told = trail()

        newer = replace_document(
            earlier.pk,
            by=office,
            data=pdf_bytes(pages=2),
            title="Liability 2027",
            expires_on=date(2027, 6, 1),
        )

        assert (newer.replaces, newer.site, newer.kind) == (earlier, earlier.site, earlier.kind)
        assert trail() == [*told, "document.replaced"]
        assert TrailEntry.objects.get(verb="document.replaced").facts["expires_on"] == [
            "2026-06-01",
            "2027-06-01",
        ]

    def test_what_has_a_newer_issue_is_left_alone(self, office):
        earlier = self.paper(make_site(), office)
        replace_document(earlier.pk, by=office, data=pdf_bytes(), title="Newer")

        with pytest.raises(WrongState, match="newer issue"):
            replace_document(earlier.pk, by=office, data=pdf_bytes(), title="Twice")
        with pytest.raises(WrongState, match="newer issue"):
            withdraw_document(earlier.pk, by=office, reason="Wrong")

    def test_a_paper_is_withdrawn_once(self, office, trail):
        paper = self.paper(make_site(), office)
        told = trail()
        withdraw_document(paper.pk, by=office, reason="Wrong client")

        with pytest.raises(WrongState, match="was withdrawn"):
            withdraw_document(paper.pk, by=office, reason="Again")

        assert trail() == [*told, "document.withdrawn"]

    def test_it_does_not_expire_before_it_was_issued(self, office):
        with pytest.raises(Unusable, match="expires before it was issued"):
            self.paper(None, office, issued_on=date(2026, 2, 1), expires_on=date(2026, 1, 1))

        assert not Document.objects.exists()

    def test_only_the_office_keeps_papers(self, manager, technician):
        for somebody in (manager, technician):
            with pytest.raises(NotAllowed):
                self.paper(None, somebody)


class TestPhotos:
    def test_a_photo_is_kept_with_when_it_was_taken(self, office, trail):
        site = make_site()
        told = trail()

        photo = add_photo(site.pk, by=office, data=picture_bytes(), taken_at=NOON)

        assert (photo.mime, photo.width, photo.height) == ("image/jpeg", 64, 48)
        assert (photo.taken_at, photo.uploaded_by) == (NOON, office)
        assert digest(photo.image.read()) == photo.sha256
        assert trail() == [*told, "photo.added"]

    def test_the_same_photo_again_is_the_same_row(self, office, trail):
        site, data = make_site(), picture_bytes()
        first = add_photo(site.pk, by=office, data=data)
        told = trail()

        again = add_photo(site.pk, by=office, data=data)

        assert (again, Photo.objects.count(), trail()) == (first, 1, told)

    def test_at_another_site_it_is_another_row(self, office):
        one, two = make_site(), make_site()
        data = picture_bytes()

        assert add_photo(one.pk, by=office, data=data) != add_photo(two.pk, by=office, data=data)

    def test_the_clients_manager_adds_one_at_their_own_sites_only(self, manager):
        own, strange = make_site(client=manager.client), make_site()

        assert add_photo(own.pk, by=manager, data=picture_bytes()).site == own
        with pytest.raises(Site.DoesNotExist):
            add_photo(strange.pk, by=manager, data=picture_bytes())

    def test_what_is_no_photo_leaves_nothing(self, office, trail):
        site = make_site()
        told = trail()

        with pytest.raises(Unusable):
            add_photo(site.pk, by=office, data=SVG)

        assert (Photo.objects.exists(), trail()) == (False, told)


class TestRoom:
    def test_a_site_takes_no_more_than_it_may(self, office, settings):
        site = make_site()
        add_document(site, by=office, data=pdf_bytes(), kind="other", title="Paper")
        settings.SITE_STORAGE_MEGABYTES = 0

        with pytest.raises(NoRoom, match="can allow more"):
            add_photo(site.pk, by=office, data=picture_bytes())

        assert not Photo.objects.exists()

    def test_a_person_sends_no_more_than_a_days_worth(self, office, settings):
        site = make_site()
        add_photo(site.pk, by=office, data=picture_bytes())
        settings.PERSON_DAY_MEGABYTES = 0

        with pytest.raises(NoRoom, match="Try again tomorrow"):
            add_document(site, by=office, data=pdf_bytes(), kind="other", title="Paper")

        assert not Document.objects.exists()
