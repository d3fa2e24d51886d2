"""The verbs of the trail, each with the words that people read."""

_sentences: dict[str, str] = {}


def declare(verb: str, sentence: str) -> None:
    """Make a verb known. ``sentence`` finishes "Somebody …", for example "closed the visit"."""
    _sentences[verb] = sentence


def sentence_of(verb: str) -> str:
    """The words for a verb; raises ``KeyError`` for an unknown one."""
    return _sentences[verb]


def declared() -> dict[str, str]:
    """All verbs with their sentences."""
    return dict(_sentences)
