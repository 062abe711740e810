"""Settings of the service: the one place that reads the environment.

Each is a variable ``POURBOOK_...``; the table below is the whole list.  A value that cannot be read is refused by its
name before anything is opened.  Passwords are never in a variable, only the paths of files that hold them.
"""

import os
from collections.abc import Mapping
from pathlib import Path

import msgspec

from api.pages.catalogue import time_zone
from ledger.errors import MalformedInput
from ledger.evidence.did_web import check_did

LOG_FORMS = ("text", "json")


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """How one service runs. Sizes in bytes, times in seconds."""

    store_url: str = "sqlite:///book.sqlite"
    read_store: str = ""
    """A streaming standby of the book's PostgreSQL server, as a URL: it answers what may be old, and says how old it is. Empty:
    the store itself answers everything."""
    read_limit_s: float = 10.0
    """The age above which the standby is not asked."""
    checkpoint_key_file: str = "checkpoint.key"
    checkpoint_password_file: str = "checkpoint.password"  # noqa: S105  # a path
    next_checkpoint_key_file: str = ""
    """While the checkpoint key is rotated: the file of the key that takes over; empty otherwise."""
    next_checkpoint_password_file: str = ""
    dossier_key_file: str = "dossier.key"
    dossier_password_file: str = "dossier.password"  # noqa: S105  # a path
    credential_key_file: str = ""
    """The file of the key that signs credentials about balls; empty: none are given."""
    credential_password_file: str = ""
    credential_issuer: str = ""
    """The did:web identifier under which they are given; empty: that of the host of ``label_stem``."""
    seal_file: str = ""
    """A PKCS#12 file with the RSA key and certificate that reports are sealed with; empty: they carry no seal. Needs the extra
    evidence."""
    seal_password_file: str = "seal.password"  # noqa: S105  # a path
    host: str = "127.0.0.1"
    port: int = 8765
    label_stem: str = "https://id.example.com"
    body_limit: int = 1_000_000
    dossier_limit: int = 10_000
    blob_limit: int = 16_000_000
    temperature_log_limit: int = 2_000_000
    """About 60,000 readings: one a minute for six weeks."""
    token_memory_s: float = 5.0
    secure_cookies: bool = False
    """Whether browsers reach the service by https though it is asked by http: behind a proxy that does not say so."""
    oidc_issuer: str = ""
    """An OpenID Connect provider by which people may sign in too; empty: by name and password alone. Needs the extra oidc."""
    oidc_client_id: str = ""
    oidc_client_secret_file: str = ""
    oidc_name_claim: str = "preferred_username"
    """The claim that is the name of an account here; ``email`` counts only where the provider has verified it."""
    public_per_minute: int = 120
    public_burst: int = 60
    proxies: str = ""
    stop_s: int = 20
    long_reads: int = 1
    """Processes for long answers (dossiers, populations, everything below a lot); 0 makes them on threads of the service,
    which is enough for a small plant."""
    statement_s: float = 60.0
    """How long PostgreSQL may take over one statement of the service, before it is refused; 0: as long as it does. Dossiers,
    populations, a check of the book and a rebuild of the views are not bound by it."""
    pen_folder: str = ""
    """A folder that several service processes of one machine share, mode 0700: one of them then enters what all are told. Empty:
    each enters its own, in its turn."""
    time_zone: str = "UTC"
    """The zone in which pages show instants, by its IANA name; records keep the offset that they were said with."""
    checkpoint_copy: str = ""
    """A file in a second place that keeps the newest checkpoint; empty keeps none. The newest published one is kept beside
    it, in a file of that name with ``.published``."""
    witness_policy: str = ""
    """A policy file (C2SP tlog-policy): the witnesses that checkpoints go to, with their addresses, and the quorum."""
    publish_s: float = 60.0
    """How often the newest checkpoint is published if the book grew: the exposure to a rollback that nobody would see."""
    outgoing_s: float = 5.0
    """The time for one request to a witness or a time stamping authority, all of it."""
    tsa: str = ""
    """Time stamping authorities (RFC 3161), ``name url`` each, on lines or parted by ``;``. Needs the extra evidence."""
    tsa_roots: str = ""
    """A PEM file with the root certificates that their tokens have to lead to."""
    tsa_minutes: float = 60.0
    """Each authority is asked for a token at most this often."""
    log: str = "text"
    """How events are logged: ``text`` for readable lines, ``json`` for one JSON object a line. Neither holds personal data."""
    traces: str = ""
    """The whole address at which a collector takes OTLP over HTTP, such as http://127.0.0.1:4318/v1/traces; empty: no traces
    are made. Needs the extra traces."""

    @staticmethod
    def from_env(environ: Mapping[str, str]) -> "Settings":
        """Read every setting from ``environ``; what is absent keeps its default. Raises MalformedInput."""
        given = {}
        for field in msgspec.structs.fields(Settings):
            text = environ.get(variable(field.name))
            if text is None:
                continue
            try:
                given[field.name] = msgspec.convert(text, field.type, strict=False)
            except msgspec.ValidationError as error:
                raise MalformedInput(
                    "setting cannot be read",
                    expected=field.type.__name__,
                    got=text,
                    where=variable(field.name),
                    mend="correct or remove the variable",
                ) from error
        settings = Settings(**given)
        _check(settings)
        return settings


def variable(name: str) -> str:
    """The environment variable of a setting."""
    return f"POURBOOK_{name.upper()}"


def check_read_store(settings: Settings) -> None:
    """A read store goes with a book on PostgreSQL alone. Raises MalformedInput."""
    if settings.read_store and not all(
        url.startswith("postgresql") for url in (settings.store_url, settings.read_store)
    ):
        raise MalformedInput(
            "only a PostgreSQL server has a standby",
            expected="postgresql://... for both",
            where=f"{variable('store_url')}, {variable('read_store')}",
            mend="remove the read store, or move the book to PostgreSQL first",
        )


def settings_from_environment() -> Settings:
    """The settings of this process. Raises MalformedInput."""
    return Settings.from_env(os.environ)


def first_line(path: str) -> str:
    """The first line of a password file. Raises MalformedInput naming the file."""
    try:
        return Path(path).read_text("utf-8").split("\n", 1)[0]
    except (OSError, UnicodeDecodeError) as error:
        raise MalformedInput("password file cannot be read", where=path, mend="name a readable file") from error


def _check(settings: Settings) -> None:
    _check_ranges(settings)
    if not 0 <= settings.long_reads <= 8:
        raise MalformedInput(
            "setting is out of range", expected="0 to 8", got=settings.long_reads, where=variable("long_reads")
        )
    try:
        time_zone(settings.time_zone)
    except MalformedInput as error:
        raise MalformedInput(
            error.problem, expected=error.expected, got=error.got, where=variable("time_zone"), mend=error.mend
        ) from error
    if settings.oidc_issuer and not (settings.oidc_client_id and settings.oidc_client_secret_file):
        raise MalformedInput(
            "sign-in by another party needs a client",
            expected="an id and a file with the secret",
            where=f"{variable('oidc_client_id')}, {variable('oidc_client_secret_file')}",
            mend="set both, or remove the issuer",
        )
    if settings.log not in LOG_FORMS:
        raise MalformedInput(
            "setting is not known", expected=" or ".join(LOG_FORMS), got=settings.log, where=variable("log")
        )
    if settings.traces and not settings.traces.startswith(("http://", "https://")):
        raise MalformedInput(
            "setting is no address", expected="http:// or https://", got=settings.traces, where=variable("traces")
        )
    _check_publishing(settings)
    _check_issuer(settings)
    if not 0 <= settings.port <= 65_535:
        raise MalformedInput(
            "setting is out of range", expected="0 to 65535", got=settings.port, where=variable("port")
        )


def _check_ranges(settings: Settings) -> None:
    positive = (
        "body_limit", "dossier_limit", "blob_limit", "temperature_log_limit", "public_per_minute", "public_burst",
        "stop_s",
    )  # fmt: skip
    for name in positive:
        if getattr(settings, name) < 1:
            raise MalformedInput(
                "setting is out of range", expected="1 or more", got=getattr(settings, name), where=variable(name)
            )
    for name, most in (("token_memory_s", 300), ("statement_s", 86_400)):
        if not 0 <= getattr(settings, name) <= most:
            raise MalformedInput(
                "setting is out of range", expected=f"0 to {most}", got=getattr(settings, name), where=variable(name)
            )


def _check_issuer(settings: Settings) -> None:
    if settings.credential_issuer:
        try:
            check_did(settings.credential_issuer)
        except MalformedInput as error:
            raise MalformedInput(
                error.problem, expected=error.expected, got=error.got, where=variable("credential_issuer")
            ) from error


def _check_publishing(settings: Settings) -> None:
    spans = (
        ("read_limit_s", 1, 3_600), ("publish_s", 1, 86_400), ("outgoing_s", 0.1, 60), ("tsa_minutes", 1, 100_000),
    )  # fmt: skip
    for name, least, most in spans:
        value = getattr(settings, name)
        if not least <= value <= most:
            raise MalformedInput(
                "setting is out of range", expected=f"{least} to {most}", got=value, where=variable(name)
            )
    if settings.tsa and not settings.tsa_roots:
        raise MalformedInput(
            "time stamps need the roots that they lead to",
            where=variable("tsa_roots"),
            mend="name a PEM file with the authorities' root certificates",
        )
