"""Pictures for papers, read from the store one at a time and made no larger than paper can show."""

from collections.abc import Iterator, Mapping
from io import BytesIO

from django.db.models.fields.files import FieldFile
from PIL import Image

# A photo is printed 54 mm wide, so this is some four hundred dots to the inch; the kept original
# is many times larger, and a file of a hundred photos would not pass through a mailbox.
PHOTO_SIDE = 900
PHOTO_QUALITY = 80


class StoredPictures(Mapping[str, bytes]):
    """Photos and plans by the names that a paper calls them.

    Raises ``KeyError`` for a picture that is unknown or whose stored file cannot be read, so that
    the paper is printed without it and says so.
    """

    def __init__(
        self, *, photos: Mapping[str, FieldFile], plans: Mapping[str, FieldFile] | None = None
    ) -> None:
        self._photos = photos
        self._plans = plans or {}

    def __getitem__(self, name: str) -> bytes:
        if name in self._plans:
            return _read(self._plans[name])
        return for_paper(_read(self._photos[name]))

    def __iter__(self) -> Iterator[str]:
        yield from self._photos
        yield from self._plans

    def __len__(self) -> int:
        return len(self._photos) + len(self._plans)


def for_paper(data: bytes) -> bytes:
    """A photo of ours, smaller. One that is small enough already stays as it is."""
    picture: Image.Image = Image.open(BytesIO(data))
    if max(picture.size) <= PHOTO_SIDE:
        return data
    picture.draft("RGB", (PHOTO_SIDE, PHOTO_SIDE))
    picture.thumbnail((PHOTO_SIDE, PHOTO_SIDE))
    smaller = BytesIO()
    picture.convert("RGB").save(smaller, "JPEG", quality=PHOTO_QUALITY, optimize=True)
    return smaller.getvalue()


def _read(file: FieldFile) -> bytes:
    try:
        with file.open("rb") as stored:
            data: bytes = stored.read()
    except OSError as error:
        raise KeyError(f"{file.name} cannot be read") from error
    return data
