"""What is uploaded is decoded within limits and written afresh, or refused in words."""

import io

import pytest
from PIL import Image, ImageFile
from pypdf.generic import ArrayObject, DictionaryObject, NameObject, NullObject

from accounts.refusals import Unusable
from sites import media
from tests.builders.files import SVG, action, pdf_bytes, picture_bytes, png_claiming

ORIENTATION, GPS, MAKE = 0x0112, 0x8825, 0x010F


def opened(clean: media.CleanImage) -> Image.Image:
    return Image.open(io.BytesIO(clean.data))


def taken_sideways() -> bytes:
    """A photo as a phone makes it: lying on its side, with what it knows of its owner."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    exif[MAKE] = "Secretphone"
    exif.get_ifd(GPS)[1] = "N"
    return picture_bytes(size=(64, 48), exif=exif, comment=b"secret comment")


class TestPhotos:
    @pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
    def test_a_picture_becomes_a_jpeg(self, kind):
        clean = media.clean_image(picture_bytes(kind))

        assert (clean.mime, clean.width, clean.height) == ("image/jpeg", 64, 48)
        assert opened(clean).format == "JPEG"

    def test_it_stands_upright(self):
        clean = media.clean_image(taken_sideways())

        assert (clean.width, clean.height) == (48, 64)

    def test_nothing_hidden_comes_along(self):
        clean = media.clean_image(taken_sideways())

        assert not opened(clean).getexif()
        assert b"Secretphone" not in clean.data
        assert b"secret comment" not in clean.data

    def test_a_page_behind_the_picture_does_not_come_along(self):
        """A file that is a picture to one program and a page to another comes out as a picture."""
        page = b"<html><script>alert(1)</script></html>"

        clean = media.clean_image(picture_bytes() + page)

        assert b"script" not in clean.data

    def test_a_large_one_is_made_smaller(self):
        clean = media.clean_image(picture_bytes(size=(4000, 3000)))

        assert (clean.width, clean.height) == (1600, 1200)

    def test_what_is_clear_is_shown_on_white(self):
        image = Image.new("RGBA", (20, 20), (0, 0, 0, 0))
        out = io.BytesIO()
        image.save(out, "PNG")

        assert min(opened(media.clean_image(out.getvalue())).getpixel((10, 10))) > 250

    @pytest.mark.parametrize("mode", ["L", "P", "CMYK"])
    def test_other_kinds_of_colour_are_understood(self, mode):
        kind = "PNG" if mode == "P" else "JPEG"

        assert opened(media.clean_image(picture_bytes(kind, mode=mode))).mode == "RGB"

    @pytest.mark.parametrize(
        ("data", "code"),
        [
            pytest.param(b"", "file_empty", id="empty"),
            pytest.param(SVG, "not_a_picture", id="svg"),
            pytest.param(b"<!doctype html><p>hello", "not_a_picture", id="html"),
            pytest.param(picture_bytes("GIF"), "not_a_picture", id="gif"),
            pytest.param(b"%PDF-1.7 nothing", "not_a_picture", id="pdf"),
            pytest.param(picture_bytes(size=(900, 900))[:-2000], "picture_damaged", id="cut short"),
            pytest.param(png_claiming(600, 600), "picture_damaged", id="pixels missing"),
            pytest.param(png_claiming(50_000, 50_000), "picture_too_large", id="flood of pixels"),
            pytest.param(png_claiming(9_000, 9_000), "picture_too_large", id="too many pixels"),
            pytest.param(picture_bytes(size=(4, 4)), "picture_too_small", id="a speck"),
            pytest.param(b"\xff" * 15_000_001, "file_too_large", id="too many bytes"),
        ],
    )
    def test_what_is_no_photo_is_refused_in_words(self, data, code):
        with pytest.raises(Unusable) as refusal:
            media.clean_image(data)

        assert refusal.value.code == code
        assert str(refusal.value).endswith(".")

    def test_half_a_picture_is_refused_whatever_another_library_allows(self):
        """WeasyPrint tells Pillow to accept half pictures, for the whole process."""
        ImageFile.LOAD_TRUNCATED_IMAGES = True

        with pytest.raises(Unusable, match="not whole"):
            media.clean_image(picture_bytes(size=(900, 900))[:-2000])


class TestDocuments:
    def test_a_pdf_is_kept_as_it_came(self):
        data = pdf_bytes(pages=3)

        assert media.clean_document(data) == media.CleanFile(data, "application/pdf")

    def test_a_picture_of_a_paper_becomes_a_jpeg(self):
        assert media.clean_document(picture_bytes("PNG")).mime == "image/jpeg"

    @pytest.mark.parametrize(
        ("data", "code"),
        [
            pytest.param(pdf_bytes(password="secret"), "pdf_encrypted", id="locked"),
            pytest.param(
                pdf_bytes(catalogue={"/OpenAction": action("/JavaScript", JS="app.alert(1)")}),
                "pdf_active",
                id="script when opened",
            ),
            pytest.param(
                pdf_bytes(on_page={"/AA": DictionaryObject({NameObject("/O"): action("/Launch")})}),
                "pdf_active",
                id="program started by a page",
            ),
            pytest.param(
                pdf_bytes(
                    on_page={
                        "/Annots": ArrayObject(
                            [DictionaryObject({NameObject("/A"): action("/SubmitForm")})]
                        )
                    }
                ),
                "pdf_active",
                id="form that sends",
            ),
            pytest.param(
                pdf_bytes(
                    catalogue={"/AcroForm": DictionaryObject({NameObject("/XFA"): NullObject()})}
                ),
                "pdf_active",
                id="form that runs",
            ),
            pytest.param(pdf_bytes(attach=True), "pdf_active", id="file within the file"),
            pytest.param(pdf_bytes(pages=301), "pdf_pages", id="too many pages"),
            pytest.param(b"%PDF-1.7\nnothing follows", "pdf_damaged", id="damaged"),
            pytest.param(pdf_bytes()[:200], "pdf_damaged", id="cut short"),
            pytest.param(SVG, "not_a_picture", id="svg"),
            pytest.param(b"%PDF-" + b"0" * 25_000_001, "file_too_large", id="too many bytes"),
        ],
    )
    def test_what_cannot_be_kept_is_refused_in_words(self, data, code):
        with pytest.raises(Unusable) as refusal:
            media.clean_document(data)

        assert refusal.value.code == code

    def test_a_plain_link_is_no_action_that_matters(self):
        link = DictionaryObject({NameObject("/A"): action("/URI", URI="https://example.org")})
        data = pdf_bytes(on_page={"/Annots": ArrayObject([link])})

        assert media.clean_pdf(data).data == data


class TestPlans:
    def test_a_drawing_stays_sharp(self):
        clean = media.clean_plan(picture_bytes("PNG", size=(4000, 1000)))

        assert (clean.mime, clean.width, clean.height) == ("image/png", 3000, 750)

    def test_a_page_of_a_pdf_is_drawn(self):
        clean = media.clean_plan(pdf_bytes(pages=2), page_number=2)

        assert (clean.mime, clean.width, clean.height) == ("image/png", 3000, 1500)

    def test_a_page_that_is_not_there_is_refused(self):
        with pytest.raises(Unusable, match="cannot be drawn"):
            media.clean_plan(pdf_bytes(), page_number=2)

    def test_a_pdf_that_acts_is_not_even_drawn(self):
        data = pdf_bytes(catalogue={"/OpenAction": action("/JavaScript", JS="1")})

        with pytest.raises(Unusable, match="a script"):
            media.clean_plan(data)
