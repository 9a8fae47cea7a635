"""Where this copy keeps its data, and how it writes figures."""

from __future__ import annotations

import os
from datetime import datetime, tzinfo
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import platformdirs
from babel import Locale
from pydantic import Field, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from webapp.wording import locale_named, locale_of_environment

if TYPE_CHECKING:
    from webapp.house import House


def data_folder() -> Path:
    """The user's own folder for data of this program."""
    return platformdirs.user_data_path("lodeworth", appauthor=False)


class Settings(BaseSettings):
    """Settings of this copy; each may come from the environment as ``LODEWORTH_`` and its name in capitals."""

    model_config = SettingsConfigDict(env_prefix="LODEWORTH_", extra="ignore", frozen=True)

    data: Path = Field(default_factory=data_folder)
    locale: str = ""
    time_zone: str = ""
    currency: str = Field(default="USD", pattern="^[A-Z]{3}$")

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, named: str) -> str:
        if named:
            try:
                ZoneInfo(named)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                raise ValueError("not the name of a time zone, such as America/Denver") from None
        return named

    @cached_property
    def written_in(self) -> Locale:
        """Locale of every figure: the one set, else the environment's."""
        return locale_named(self.locale) if self.locale else locale_of_environment(os.environ)

    @cached_property
    def zone(self) -> tzinfo:
        """Time zone of moments typed without an offset: the one set, else this machine's."""
        return ZoneInfo(self.time_zone) if self.time_zone else machine_zone()

    @property
    def given(self) -> dict[str, str]:
        """What was set at the start, by the environment or otherwise; it counts before the settings of the house."""
        told = {name: str(getattr(self, name)) for name in ("currency", "locale", "time_zone")}
        return {name: text for name, text in told.items() if text and name in self.model_fields_set}

    def under(self, house: House) -> Settings:
        """These settings, what was not set at the start taken from the house's."""
        of_house = {"currency": house.currency, "locale": house.locale, "time_zone": house.time_zone}
        told = {name: text for name, text in of_house.items() if text} | self.given
        return _told(self.data, **told)

    def now(self) -> datetime:
        """The moment of this call, to the second."""
        zone = self.zone if self.time_zone else machine_zone()
        return datetime.now(zone).replace(microsecond=0)


@lru_cache(maxsize=16)
def _told(data: Path, currency: str = "USD", locale: str = "", time_zone: str = "") -> Settings:
    return Settings(data=data, currency=currency, locale=locale, time_zone=time_zone)


def machine_zone() -> tzinfo:
    """This machine's offset from UTC at the moment."""
    zone = datetime.now().astimezone().tzinfo
    assert zone is not None
    return zone
