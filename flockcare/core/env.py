"""Reading settings from the environment: a wrong value stops the start with a clear message."""

import os
import secrets
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

TRUE, FALSE = {"1", "true", "yes", "on"}, {"0", "false", "no", "off"}


def text(name: str, default: str = "") -> str:
    return os.environ.get(name, default).strip()


def flag(name: str, *, default: bool = False) -> bool:
    value = os.environ.get(name)
    if value is None:
        return default
    if value.strip().lower() in TRUE:
        return True
    if value.strip().lower() in FALSE:
        return False
    raise ImproperlyConfigured(f"{name} must be one of 1/0, true/false, yes/no; it is {value!r}")


def words(name: str, default: str = "") -> list[str]:
    """A comma-separated list."""
    return [word.strip() for word in text(name, default).split(",") if word.strip()]


def folder(name: str, default: Path) -> Path:
    value = text(name)
    return Path(value).expanduser().resolve() if value else default


def secret_key(name: str, path: Path) -> str:
    """The signing key: from the environment, else from a file made once that only we can read."""
    if value := text(name):
        return value
    try:
        return path.read_text().strip()
    except FileNotFoundError:
        pass
    path.parent.mkdir(parents=True, exist_ok=True)
    key = secrets.token_urlsafe(64)
    # O_EXCL: of two processes that start together, one writes and the other reads.
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return path.read_text().strip()
    with os.fdopen(descriptor, "w") as file:
        file.write(key)
    return key
