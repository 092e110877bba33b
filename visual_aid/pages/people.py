"""Who may sign in where other machines reach the page: names, roles and password hashes in a file."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from visual_aid.files import write_atomically

Role = Literal["reviewer", "trainer", "lead"]
ROLES: tuple[Role, ...] = get_args(Role)
TEACHERS: tuple[Role, ...] = ("trainer", "lead")
"""Who may open gallery, lessons and figures of trainees."""
SHORTEST = 10
"""Fewest characters of a password; common practice, no source."""

# Argon2id with the library's parameters, which are the second choice of RFC 9106, section 4.
_HASHER = PasswordHasher()
_NOBODY = _HASHER.hash("nobody signs in with this")


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may sign in, and as what."""

    name: str
    role: Role


def people_file(store: str) -> Path:
    """Give the usual place of the file: beside an SQLite file, else in the current folder."""
    path = Path("visual-aid.sqlite" if "://" in store else store).expanduser()
    return path.with_name(f"{path.stem}-people.json")


def add_person(file: Path, name: str, role: Role, password: str) -> None:
    """Let somebody sign in, or give them another password or role.

    Raises
    ------
    ValueError
        No name, a password too short, or a file that is not one of people.
    OSError
        The file cannot be written.
    """
    name = " ".join(name.split())
    if not name or len(name) > 60 or not name.isprintable():
        raise ValueError("a person needs a name of at most 60 characters")
    if len(password) < SHORTEST:
        raise ValueError(f"the password is too short: take at least {SHORTEST} characters")
    entries = _entries(file) if file.exists() else {}
    entries[name] = {"role": role, "password": _HASHER.hash(password)}
    _write(file, entries)


def remove_person(file: Path, name: str) -> None:
    """Let somebody sign in no more; ValueError if the file does not name them."""
    entries = _entries(file)
    if entries.pop(name, None) is None:
        raise ValueError(f"{name} is not in {file}")
    _write(file, entries)


def person(file: Path, name: str, password: str) -> Person | None:
    """Give the person of that name and password; None where there is none, after the same time."""
    entry = _entries(file).get(name)
    try:
        right = _HASHER.verify(entry["password"] if entry else _NOBODY, password)
    except (Argon2Error, InvalidHashError):
        return None
    return (
        next((Person(name, role) for role in ROLES if role == entry["role"]), None)
        if entry and right
        else None
    )


def check_anybody(file: Path) -> None:
    """Raise ValueError, with the mend, where nobody may sign in or the file is not one of people."""
    if not (file.exists() and _entries(file)):
        raise ValueError(
            f"{file} names nobody who may sign in: add somebody with visual-aid person NAME --role lead"
        )


def _entries(file: Path) -> dict[str, dict[str, str]]:
    try:
        entries = json.loads(file.read_text(encoding="utf-8"))
        if all(e["role"] in ROLES and isinstance(e["password"], str) for e in entries.values()):
            return dict(entries)
    except (AttributeError, KeyError, TypeError, ValueError):
        pass
    raise ValueError(f"{file} is no file of people: move it away and add them with visual-aid person")


def _write(file: Path, entries: dict[str, dict[str, str]]) -> None:
    write_atomically(file, json.dumps(entries, indent=1, ensure_ascii=False).encode(), mode=0o600)
