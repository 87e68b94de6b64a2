"""What people may type for login, name and password, and where a sign-in may lead."""

import pytest

from server.people import rules


@pytest.mark.parametrize("login", ["ada", "ada.b", "a1", "ada_b-c", "a" * 40])
def test_a_login_of_plain_letters_is_taken(login: str) -> None:
    assert rules.login_faults(login) == {}


@pytest.mark.parametrize(
    "login", ["", "a", "1ada", ".ada", "Ada", "ada b", "аda", "ada\n", "ada/..", "ada@here", "a" * 41]
)
def test_any_other_login_is_refused_at_its_field(login: str) -> None:
    assert set(rules.login_faults(login)) == {"login"}


def test_a_login_is_kept_in_small_letters() -> None:
    assert rules.login_of("  Ada.B ") == "ada.b"


@pytest.mark.parametrize("password", ["a long cold night", "0123456789", "ä" * 7 + "bcd"])
def test_a_long_password_is_taken(password: str) -> None:
    assert rules.password_faults(password, "ada") == {}


@pytest.mark.parametrize("password", ["", "123456789", "aaaaaaaaaaaa", "x" * 201, "ADA.COLDSTEAD"])
def test_a_password_that_is_short_endless_dull_or_the_login_is_refused(password: str) -> None:
    assert set(rules.password_faults(password, "ada.coldstead")) == {"password"}


def test_the_same_letters_are_the_same_password_on_every_keyboard() -> None:
    """RFC 8265 prepares passwords so that a composed and a decomposed letter compare equal."""
    assert rules.password_of("Ku\u0308hlung") == rules.password_of("K\u00fchlung")


@pytest.mark.parametrize("name", ["", "two\nlines", "x" * 81, "bell\x07"])
def test_a_name_that_does_not_fit_on_a_line_is_refused(name: str) -> None:
    assert set(rules.name_faults(name, "for_name")) == {"for_name"}


@pytest.mark.parametrize("address", ["/", "/cryostats", "/cryostats/bench-a?revision=3", "/a/b#c", "/a//b"])
def test_a_sign_in_leads_on_to_our_own_pages(address: str) -> None:
    assert rules.onward(address) == address


@pytest.mark.parametrize(
    "address",
    [
        "",
        "cryostats",
        "//elsewhere.example",
        "///elsewhere.example",
        "/\\elsewhere.example",
        "\\\\elsewhere.example",
        "/\t/elsewhere.example",
        "/\n/elsewhere.example",
        "/ok\r\nLocation: //elsewhere.example",
        "https://elsewhere.example/",
        "https:elsewhere.example",
        "javascript:alert(1)",
        " /cryostats",
        "/sign-in?next=/sign-in",
        "/sign-out",
    ],
)
def test_a_sign_in_never_leads_elsewhere(address: str) -> None:
    assert rules.onward(address) == "/"
