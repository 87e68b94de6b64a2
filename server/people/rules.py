"""What a login, a name, a password and an address to go on to may be. Pure."""

import re
import unicodedata

LOGIN = re.compile(r"[a-z][a-z0-9._-]{1,39}")
OUR_PATH = re.compile(r"/(?![/\\])[^\\\x00-\x20\x7f]*")
SHORTEST, LONGEST = 10, 200
NAME_LONGEST = 80


def login_of(typed: str) -> str:
    """A login as it is kept: in small letters."""
    return typed.strip().lower()


def password_of(typed: str) -> str:
    """A password as it is hashed: the same letters are the same on every keyboard (NFKC, after RFC 8265)."""
    return unicodedata.normalize("NFKC", typed)


def login_faults(login: str) -> dict[str, str]:
    """What to do about a login; empty when all is well."""
    if LOGIN.fullmatch(login):
        return {}
    return {
        "login": "Enter 2 to 40 letters a–z, digits, dots, hyphens or underscores, beginning with a letter"
    }


def name_faults(name: str, field: str = "name") -> dict[str, str]:
    """What to do about a name; empty when all is well."""
    if not name:
        return {field: "Enter the name"}
    if len(name) > NAME_LONGEST or not name.isprintable():
        return {field: f"Enter a name of at most {NAME_LONGEST} letters on one line"}
    return {}


def password_faults(password: str, login: str) -> dict[str, str]:
    """What to do about a new password; empty when all is well."""
    if not SHORTEST <= len(password) <= LONGEST:
        return {"password": f"Choose a password of {SHORTEST} to {LONGEST} letters"}
    if password.casefold() == login.casefold():
        return {"password": "Choose a password that is not the login"}
    if len(set(password)) < 4:
        return {"password": "Choose a password with at least 4 different letters"}
    return {}


def repeated_faults(password: str, again: str) -> dict[str, str]:
    """What to do when a new password was typed in two ways."""
    return {} if password == again else {"again": "Type the same password twice"}


def onward(wanted: str) -> str:
    """Where to go after signing in: an address of this program, never one that leads out of it.

    Browsers read two slashes, a slash and a backslash, or either with a tab between, as another site.
    """
    if OUR_PATH.fullmatch(wanted) and not wanted.startswith(("/sign-in", "/sign-out")):
        return wanted
    return "/"
