"""Whether a stored paper is still the one that was made."""

from accounts.sealing import digest
from compliance.models import DecisionPaper


def trouble_of(paper: DecisionPaper) -> str:
    """What is wrong with a made paper's stored file; empty while it stands as made. Reads it."""
    try:
        with paper.file.open("rb") as stored:
            whole = digest(stored.read()) == paper.sha256
    except OSError:
        return "The stored paper is missing."
    return "" if whole else "The stored paper is no longer the one that was made."
