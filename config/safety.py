"""What a production installation may not start with, each said as a sentence that names it."""

from urllib.parse import urlsplit

SHORTEST_KEY = 50


def faults(
    *,
    secret_key: str,
    debug: bool,
    hosts: list[str],
    base_url: str,
    engine: str,
    redis_url: str,
) -> list[str]:
    """Every reason not to start, in the order of docs/operations.md; none if all is well."""
    found = []
    if len(secret_key) < SHORTEST_KEY or len(set(secret_key)) < 10:
        found.append(
            f"KICKPLATE_SECRET_KEY must be at least {SHORTEST_KEY} random characters. "
            'Make one with: python3 -c "import secrets; print(secrets.token_urlsafe(50))"'
        )
    if debug:
        found.append("KICKPLATE_DEBUG must be off: its error pages show settings and records.")
    hosts_are_named = bool(hosts) and not any(host.startswith(("*", ".")) for host in hosts)
    if not hosts_are_named:
        found.append("KICKPLATE_ALLOWED_HOSTS must name each host this installation answers to.")
    address = urlsplit(base_url)
    if address.scheme != "https" or not address.hostname:
        found.append("KICKPLATE_BASE_URL must be the https:// address that people use.")
    elif hosts_are_named and address.hostname not in hosts:
        found.append("KICKPLATE_BASE_URL must be at one of KICKPLATE_ALLOWED_HOSTS.")
    if not engine.endswith(".postgresql"):
        found.append("DATABASE_URL must be a postgres:// address.")
    if not redis_url:
        found.append("REDIS_URL must be set: it wakes the workers and keeps the limits on sign-in.")
    return found
