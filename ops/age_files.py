"""Files encrypted to a public key, in the age format (age-encryption.org/v1, C2SP age): X25519, ChaCha20-Poly1305 in chunks.

The format is open and programs for it are common, so that a backup can be opened without this project.  The key that
opens it is kept elsewhere than the service; who can encrypt with the public one cannot read what was encrypted.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

import pyrage

from ledger.errors import KeyFileRefused, MalformedInput, MalformedKey
from ops.key_files import read_owner_only, write_new

BLOCK = 1 << 20


class Written(NamedTuple):
    """What was written: bytes of the encrypted file, and its SHA-256 in hex as it was read back from the disk."""

    size: int
    digest: str


def create_identity(path: Path) -> str:
    """Make the key that opens backups, in a new file of mode 0600; its public line (``age1...``).

    Raises KeyFileRefused if the file exists.
    """
    identity = pyrage.x25519.Identity.generate()
    public = str(identity.to_public())
    write_new(path, f"# public key: {public}\n{identity}\n".encode())
    return public


def read_identities(path: Path) -> list[Any]:
    """The keys in a file, one to a line. Raises KeyFileRefused for one that others can reach, MalformedKey."""
    try:
        text = read_owner_only(path).decode("ascii")
    except OSError as error:
        raise KeyFileRefused(f"key file cannot be read: {error.strerror}", where=str(path)) from error
    except UnicodeDecodeError as error:
        raise MalformedKey("key file is no text", where=str(path)) from error
    lines = [line.strip() for line in text.splitlines()]
    try:
        found = [pyrage.x25519.Identity.from_str(line) for line in lines if line and not line.startswith("#")]
    except pyrage.IdentityError as error:
        raise MalformedKey("not a key of the age format", expected="AGE-SECRET-KEY-1...", where=str(path)) from error
    if not found:
        raise MalformedKey("no key in the file", expected="AGE-SECRET-KEY-1...", where=str(path))
    return found


def parse_recipient(text: str) -> Any:
    """A public key that a file is encrypted to. Raises MalformedKey."""
    try:
        return pyrage.x25519.Recipient.from_str(text)
    except pyrage.RecipientError as error:
        raise MalformedKey("not a public key of the age format", expected="age1...", got=text) from error


def encrypt_file(plain: Path, path: Path, recipients: list[Any]) -> Written:
    """Encrypt a file to each of ``recipients``: whole and durable at ``path``, or nothing there.

    What lies on the disk is read back and compared with what was written. Raises MalformedInput if that cannot be.
    """
    draft = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with plain.open("rb") as source, draft.open("xb") as out:
            draft.chmod(0o600)
            hashing = _Hashing(out)
            pyrage.encrypt_io(source, hashing, recipients)
            out.flush()
            os.fsync(out.fileno())
        digest = digest_of(draft)
        if digest != hashing.digest.hexdigest():
            raise MalformedInput(
                "the disk does not give back what was written", where=str(path), mend="use another disk"
            )
        draft.replace(path)
        _flush_folder(path.parent)
        return Written(path.stat().st_size, digest)
    except OSError as error:
        raise MalformedInput(f"backup cannot be written: {error.strerror or error}", where=str(path)) from error
    finally:
        draft.unlink(missing_ok=True)


def decrypt_file(path: Path, plain: Path, identities: list[Any]) -> None:
    """Decrypt a file into a new one, which is 0600; every block is authenticated.

    Raises KeyFileRefused where no key fits, MalformedInput for a file that is no such file, is cut short or was changed;
    nothing is then left at ``plain``.
    """
    try:
        with path.open("rb") as source, plain.open("xb") as out:
            plain.chmod(0o600)
            pyrage.decrypt_io(source, out, identities)
    except pyrage.DecryptError as error:
        plain.unlink(missing_ok=True)
        raise KeyFileRefused("the backup does not open", got=str(error), where=str(path)) from error
    except OSError as error:
        plain.unlink(missing_ok=True)
        raise MalformedInput(f"backup cannot be read: {error.strerror or error}", where=str(path)) from error


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hex."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            digest.update(block)
    return digest.hexdigest()


class _Hashing:
    """A file that hashes what is written to it."""

    def __init__(self, out: BinaryIO) -> None:
        self._out = out
        self.digest = hashlib.sha256()

    def write(self, block: bytes) -> int:
        """Write a block."""
        self.digest.update(block)
        return self._out.write(block)

    def flush(self) -> None:
        """Flush the file."""
        self._out.flush()


def _flush_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
