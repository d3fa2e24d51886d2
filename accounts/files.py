"""Handing out private files. Whether the person may have one is settled before this is called."""

import re
import unicodedata
from pathlib import PurePosixPath
from urllib.parse import quote

from django.conf import settings
from django.db.models.fields.files import FieldFile
from django.http import FileResponse, Http404, HttpResponse, HttpResponseBase
from django.utils.http import content_disposition_header

# The only kinds that are drawn in the page itself. Anything else is a download, so that nothing
# that was uploaded can act in the name of this address.
SHOWN_IN_PAGES = {"image/jpeg", "image/png", "image/webp"}
NOTHING_RUNS = "default-src 'none'; sandbox"


def private_file(
    file: FieldFile, *, name: str, mime: str, inline: bool = False
) -> HttpResponseBase:
    """The answer that carries a stored file, called ``name`` on the other side.

    ``inline`` shows pictures in the page; every other kind is a download all the same. Behind a
    web server that knows ``X-Accel-Redirect`` the server sends the bytes, else this process does.
    Raises ``Http404`` if the stored file is gone.
    """
    if not file.name or not file.storage.exists(file.name):
        raise Http404("the stored file is missing")
    answer: HttpResponseBase
    if settings.ACCEL_PREFIX:
        answer = HttpResponse(content_type=mime)
        answer["X-Accel-Redirect"] = f"{settings.ACCEL_PREFIX.rstrip('/')}/{quote(file.name)}"
    else:
        answer = FileResponse(file.open("rb"), content_type=mime)
    shown = inline and mime in SHOWN_IN_PAGES
    disposition = content_disposition_header(not shown, safe_name(name))
    answer["Content-Disposition"] = disposition or "attachment"
    answer["Content-Security-Policy"] = NOTHING_RUNS
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cache-Control"] = "private, no-store"
    return answer


def safe_name(name: str) -> str:
    """A file name that means the same everywhere: no folders, no control or direction marks.

    At most 120 characters, the ending kept.
    """
    flat = re.sub(r"[\\/]+", "-", name)
    visible = "".join(sign for sign in flat if unicodedata.category(sign)[0] != "C").strip(" .-")
    path = PurePosixPath(visible or "file")
    return f"{path.stem[: 120 - len(path.suffix)]}{path.suffix}"
