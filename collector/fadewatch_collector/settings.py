"""The collector's settings, read once from the environment."""

import re
from ipaddress import IPv4Network, IPv6Network, ip_address
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import Field, FilePath, SecretStr, ValidationInfo, field_validator
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict

from fadewatch_collector.rules.retention import LEAST_KEPT_DAYS

Network = IPv4Network | IPv6Network

_MAIL_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]+@[A-Za-z0-9.-]+")
"""The addresses of RFC 5321 that need no quoting."""

_HOST_AND_PORT = re.compile(r"([A-Za-z0-9.-]+|\[[0-9A-Fa-f:.]+\]):[0-9]{1,5}")


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
    tls_certificate: Path | None = Field(
        default=None,
        description="File with the service's certificate and those between it and the "
        "authority (PEM); plain HTTP when it is not set.",
    )
    tls_key: Path | None = Field(
        default=None,
        validate_default=True,
        description="File with the certificate's private key (PEM, no password).",
    )
    drain_seconds: float = Field(
        default=0,
        ge=0,
        le=300,
        description="How long the collector says 'not ready' before it stops, for load "
        "balancers that ask [s].",
    )
    metrics_address: str | None = Field(
        default=None,
        description="Address and port on which /metrics is served (127.0.0.1:8480); "
        "nowhere when it is not set.",
    )
    metrics_token: SecretStr | None = Field(
        default=None,
        validate_default=True,
        min_length=16,
        description="What who asks for /metrics must send as 'Bearer'; needed beyond "
        "the loopback address.",
    )
    trusted_proxies: Annotated[tuple[Network, ...], NoDecode] = Field(
        default=(),
        description="Addresses or networks of reverse proxies, with commas between; "
        "X-Forwarded-For, -Proto and -Host are believed from these only.",
    )
    session_hours: float = Field(
        default=12.0, gt=0, le=720, description="How long a sign-in lasts [hours]."
    )
    session_idle_minutes: float = Field(
        default=60.0,
        gt=0,
        le=43_200,
        description="How long a sign-in may be idle before it ends [minutes].",
    )
    oidc_issuer: str | None = Field(
        default=None,
        description="Issuer of the organisation's identity provider (OpenID Connect), "
        "exactly as its discovery document says; none is used when it is not set.",
    )
    oidc_client_id: str | None = Field(
        default=None,
        validate_default=True,
        description="Client id that the provider knows this collector by.",
    )
    oidc_client_secret: SecretStr | None = Field(
        default=None, description="Client secret, where the provider gave one."
    )
    oidc_label: str = Field(
        default="your organisation",
        max_length=60,
        description="What people call the provider, on the sign-in page.",
    )
    oidc_scopes: str = Field(
        default="openid profile",
        pattern=r"^openid( [!#-\[\]-~]+)*$",
        description="Scopes asked for, openid first.",
    )
    oidc_name_claim: str = Field(
        default="preferred_username",
        description="Claim that new accounts are named by.",
    )
    oidc_role_claim: str = Field(
        default="groups",
        description="Claim that tells of roles; a dot leads into an object.",
    )
    oidc_viewers: str = Field(
        default="", description="Values of that claim that make a viewer, by commas."
    )
    oidc_technicians: str = Field(
        default="", description="Values that make a technician."
    )
    oidc_administrators: str = Field(
        default="",
        description="Values that make an administrator; without any value for any "
        "role, roles are given here and new accounts are viewers.",
    )
    oidc_new_accounts: bool = Field(
        default=False,
        description="Whether who has no account here gets one at the first sign-in.",
    )
    oidc_other_hosts: str = Field(
        default="",
        description="Hosts besides the issuer's that its addresses may lead to, by "
        "commas.",
    )
    password_only_for: str | None = Field(
        default=None,
        validate_default=True,
        description="The one operator who may still sign in with a password; everybody "
        "may when it is not set.",
    )
    intake_queue: int = Field(
        default=20_000,
        ge=1,
        description="Reports that may wait for their commit; past it agents are told "
        "to come back later.",
    )
    keep_reports_days: int = Field(
        default=400,
        ge=0,
        description="How long raw reports and readings are kept [days]; 0 is for ever.",
    )
    keep_daily_days: int = Field(
        default=0,
        ge=0,
        description="How long daily values are kept [days]; 0 is for ever.",
    )
    mail_host: str | None = Field(
        default=None, description="Mail server; no mail is sent when it is not set."
    )
    mail_security: Literal["starttls", "tls", "none"] = Field(
        default="starttls",
        description="How the connection to the mail server is kept secret; none is "
        "for a server on the loopback address only.",
    )
    mail_port: int | None = Field(
        default=None,
        ge=1,
        le=65535,
        description="Port of the mail server; 587 with starttls, 465 with tls and 25 "
        "with none when it is not set.",
    )
    mail_user: str | None = Field(
        default=None, description="Name to sign in to the mail server with."
    )
    mail_password: SecretStr | None = Field(
        default=None, description="Password to sign in to the mail server with."
    )
    mail_from: str | None = Field(
        default=None,
        validate_default=True,
        description="Address that mail comes from; needed with a mail server.",
    )
    private_ca: FilePath | None = Field(
        default=None,
        description="File with your own certificate authority, trusted beside those "
        "of the system by mail and webhooks.",
    )
    currency: str = Field(
        default="EUR",
        pattern="^[A-Z]{3}$",
        description="Currency of prices, by its three letters (ISO 4217).",
    )
    log: Literal["json", "text"] | None = Field(
        default=None,
        description="Form of log lines; text on a terminal and JSON elsewhere when it "
        "is not set.",
    )
    log_level: str = Field(
        default="INFO",
        pattern="^(DEBUG|INFO|WARNING|ERROR)$",
        description="Least severe log line written.",
    )

    @field_validator("trusted_proxies", mode="before")
    @classmethod
    def _networks(cls, value: object) -> object:
        return value.replace(",", " ").split() if isinstance(value, str) else value

    @field_validator("tls_key")
    @classmethod
    def _both_or_none(cls, value: Path | None, info: ValidationInfo) -> Path | None:
        if (value is None) != (info.data.get("tls_certificate") is None):
            raise ValueError("the certificate and its key go together; set both")
        return value

    @field_validator("oidc_issuer")
    @classmethod
    def _issuer_over_tls(cls, value: str | None) -> str | None:
        if value is None:
            return None
        parts = urlsplit(value)
        if not parts.hostname or parts.query or parts.fragment or parts.username:
            raise ValueError("it must be an address without user, query or fragment")
        plain = parts.scheme == "http" and _is_loopback(parts.hostname)
        if parts.scheme != "https" and not plain:
            raise ValueError("it must begin with https://")
        return value

    @field_validator("oidc_client_id", "password_only_for")
    @classmethod
    def _with_the_issuer(cls, value: str | None, info: ValidationInfo) -> str | None:
        has_issuer = info.data.get("oidc_issuer") is not None
        if info.field_name == "oidc_client_id" and has_issuer and not value:
            raise ValueError("an issuer is set, so it must be set too")
        if info.field_name == "password_only_for" and value and not has_issuer:
            raise ValueError("it needs an identity provider, FADEWATCH_OIDC_ISSUER")
        return value

    @field_validator("metrics_address")
    @classmethod
    def _with_port(cls, value: str | None) -> str | None:
        if value is not None and not _HOST_AND_PORT.fullmatch(value):
            raise ValueError("it must be an address with a port, as 127.0.0.1:8480")
        return value

    @field_validator("metrics_token")
    @classmethod
    def _token_beyond_loopback(
        cls, value: SecretStr | None, info: ValidationInfo
    ) -> SecretStr | None:
        address = info.data.get("metrics_address")
        if value is None and address and not _is_loopback(_split(address)[0]):
            raise ValueError("metrics beyond the loopback address need a token")
        return value

    @field_validator("keep_reports_days", "keep_daily_days")
    @classmethod
    def _kept_for_long_enough(cls, value: int) -> int:
        if 0 < value < LEAST_KEPT_DAYS:
            raise ValueError(
                f"keep them for {LEAST_KEPT_DAYS} days at least, or for ever with 0"
            )
        return value

    @field_validator("mail_security")
    @classmethod
    def _secret_beyond_loopback(cls, value: str, info: ValidationInfo) -> str:
        host = info.data.get("mail_host")
        if value == "none" and host is not None and not _is_loopback(host):
            raise ValueError(
                "'none' is for a mail server on the loopback address; use starttls "
                "or tls"
            )
        return value

    @field_validator("mail_from")
    @classmethod
    def _from_an_address(cls, value: str | None, info: ValidationInfo) -> str | None:
        if value is None and info.data.get("mail_host") is not None:
            raise ValueError("a mail server is set, so it must be set too")
        if value is not None and not _MAIL_ADDRESS.fullmatch(value):
            raise ValueError("it must be a plain address, such as packs@example.org")
        return value

    @property
    def metrics_listen(self) -> tuple[str, int] | None:
        """Host and port of the metrics; None when they are not served."""
        return None if self.metrics_address is None else _split(self.metrics_address)

    @property
    def metrics_by_tls(self) -> bool:
        """Whether the metrics are served by TLS; on the loopback address never."""
        listen = self.metrics_listen
        has_certificate = self.tls_certificate is not None
        return listen is not None and has_certificate and not _is_loopback(listen[0])

    @property
    def pages_url(self) -> str:
        """Address under which people reach the pages, without a slash at the end."""
        if self.public_url is not None:
            return self.public_url.rstrip("/")
        host = f"[{self.host}]" if ":" in self.host else self.host
        scheme = "http" if self.tls_certificate is None else "https"
        return f"{scheme}://{host}:{self.port}"

    @property
    def store_url(self) -> str:
        """Address of the store, PostgreSQL or the SQLite file."""
        if self.database_url is not None:
            return self.database_url.get_secret_value()
        return f"sqlite:///{self.data_folder / 'fadewatch.sqlite3'}"


def _split(address: str) -> tuple[str, int]:
    host, _, port = address.rpartition(":")
    return host.strip("[]"), int(port)


def _is_loopback(host: str) -> bool:
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return host.lower() == "localhost"
