"""Photographs as a paper shows them."""

from compliance.sitefile.content import Photo

SHORT_HASH = 12


def photo_in_words(photo: Photo, caption: str) -> dict[str, str]:
    """What a template needs of a photo; its caption names the file that is kept."""
    if not photo.media:
        caption = f"{caption}: taken, but not yet arrived from the phone"
    elif photo.sha256:
        caption = f"{caption} (file {photo.sha256[:SHORT_HASH]})"
    return {"media": photo.media, "about": photo.about, "caption": caption}
