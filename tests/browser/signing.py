"""Signing in, as every test in a browser does it."""

from playwright.sync_api import Page

from tests.fixtures.people import PASSWORD


def sign_in(page: Page, login: str = "ada") -> None:
    """Somebody signs in, whoever was before."""
    page.set_default_timeout(8000)
    page.context.clear_cookies()
    page.goto("/sign-in")
    page.get_by_label("Login").fill(login)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda address: "sign-in" not in address)
