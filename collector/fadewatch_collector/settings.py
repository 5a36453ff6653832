"""The collector's settings, read once from the environment."""

from pathlib import Path

from pydantic import Field, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """Settings from ``FADEWATCH_...`` variables; every one has a working default."""

    model_config = SettingsConfigDict(
        env_prefix="FADEWATCH_", extra="ignore", frozen=True
    )

    data_folder: Path = Field(
        default=Path("/var/lib/fadewatch"),
        description="Folder of the SQLite store, its lock and its backups.",
    )
    database_url: SecretStr | None = Field(
        default=None,
        description="Address of a PostgreSQL database; SQLite in the data folder "
        "when it is not set.",
    )
    host: str = Field(default="127.0.0.1", description="Address to listen on.")
    port: int = Field(
        default=8470,
        ge=0,
        le=65535,
        description="Port to listen on; 0 takes a free one.",
    )
    public_url: str | None = Field(
        default=None,
        description="Address that people and agents use, when it is not the one "
        "listened on (https://collector.example).",
    )
    session_hours: float = Field(
        default=12.0, gt=0, le=720, description="How long a sign-in lasts [hours]."
    )
    intake_queue: int = Field(
        default=20_000,
        ge=1,
        description="Reports that may wait for their commit; past it agents are told "
        "to come back later.",
    )
    log_level: str = Field(
        default="INFO",
        pattern="^(DEBUG|INFO|WARNING|ERROR)$",
        description="Least severe log line written.",
    )

    @property
    def store_url(self) -> str:
        """Address of the store, PostgreSQL or the SQLite file."""
        if self.database_url is not None:
            return self.database_url.get_secret_value()
        return f"sqlite:///{self.data_folder / 'fadewatch.sqlite3'}"
