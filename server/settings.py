"""Settings of one installation, read from the environment once.

`COLDSTEAD_HOME` is the one folder that holds database, files and secrets.
"""

from functools import cache
from pathlib import Path
from typing import Literal, Self

from pydantic import SecretStr, model_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

MEGABYTE = 1_000_000
_HERE = Path(__file__).resolve().parent
HOUSE = next((at for at in (_HERE.parent, _HERE / "_house") if (at / "templates").is_dir()), _HERE.parent)
"""Where templates, static and migrations lie: beside `server` in a checkout, inside it when installed."""


class Settings(BaseSettings):
    """One installation. Every field is an environment variable with the prefix `COLDSTEAD_`."""

    model_config = SettingsConfigDict(env_prefix="COLDSTEAD_")

    home: Path = Path.home() / "coldstead"
    database_url: str = ""
    """Empty means SQLite in `home`. PostgreSQL is written `postgresql+psycopg://…`."""
    body_limit_bytes: int = 2 * MEGABYTE
    upload_limit_bytes: int = 40 * MEGABYTE
    """Of a form with photographs in it; each of them has its own limit besides."""
    sign_in_days: int = 14
    invitation_days: int = 7
    mail_host: str = ""
    """The server that letters are handed to; empty means that none are sent."""
    mail_port: int = 25
    mail_tls: Literal["none", "starttls", "tls"] = "none"
    mail_from: str = ""
    mail_user: str = ""
    mail_password: SecretStr = SecretStr("")

    @model_validator(mode="after")
    def _from_somebody(self) -> Self:
        if self.mail_host and "@" not in self.mail_from:
            raise ValueError("COLDSTEAD_MAIL_FROM must be an address when COLDSTEAD_MAIL_HOST is set")
        return self

    @property
    def url(self) -> str:
        """The database address in force."""
        return self.database_url or f"sqlite:///{self.home / 'coldstead.db'}"


@cache
def settings() -> Settings:
    """The settings of this process."""
    return Settings()
