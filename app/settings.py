"""The settings, read from the environment in one place."""

from typing import Annotated
from zoneinfo import available_timezones

from pydantic import AfterValidator, Field, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from app.errors import Fault, Refused


def _served_database(url: str) -> str:
    if not url.startswith(("sqlite:", "postgresql:", "postgresql+psycopg:")):
        raise ValueError(
            "want an address such as sqlite:///./data/stencilbook.db "
            "or postgresql+psycopg://user@host/name"
        )
    return url


def _known_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError(f"{name!r} is no time zone; want a name such as America/Chicago")
    return name


class Settings(BaseSettings):
    """Each field is the environment variable of the same name in capitals."""

    model_config = SettingsConfigDict(frozen=True)

    database_url: Annotated[str, AfterValidator(_served_database)] = (
        "sqlite:///./data/stencilbook.db"
    )
    host: str = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65_535)] = 8000
    upload_limit_mb: Annotated[int, Field(ge=1)] = 64
    time_zone: Annotated[str, AfterValidator(_known_zone)] = "UTC"
    soon_days: Annotated[int, Field(ge=0)] = 180


def read_settings() -> Settings:
    """The settings of this process; raises Refused naming every variable that is wrong."""
    try:
        return Settings()
    except ValidationError as wrong:
        raise Refused.because(
            Fault(str(each["loc"][0]).upper(), each["msg"].removeprefix("Value error, "))
            for each in wrong.errors()
        ) from None
