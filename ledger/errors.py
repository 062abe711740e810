"""Every error this project raises on purpose, one tree.

::

    LedgerError                    code, message, where, mend
    ├── MalformedInput             bytes or text that cannot be what they claim to be
    │   ├── MalformedCanonical     not canonical JSON of the book's profile
    │   ├── MalformedInstant       not an instant of the book's form
    │   ├── MalformedDecimal       not a decimal of the book's form
    │   ├── MalformedEntry         not an entry of a known format
    │   ├── MalformedRecord        a record whose fields do not fit its kind
    │   ├── MalformedNote          not a C2SP signed note
    │   ├── MalformedCheckpoint    a note whose text is no checkpoint
    │   ├── MalformedProof         a Merkle proof that cannot be read
    │   ├── MalformedReceipt       not a C2SP tlog-proof
    │   ├── MalformedTile          a tile path or tile that is none
    │   ├── MalformedKey           a key or verifier line that cannot be read
    │   ├── MalformedEnvelope      not a DSSE envelope
    │   ├── MalformedSerial        a serial that the scheme cannot have produced
    │   ├── MalformedLink          a label address or GTIN that is none
    │   ├── MalformedQuantity      a measured value, unit or weight form that is none
    │   ├── MalformedRulebook      a rulebook file that breaks its schema
    │   ├── MalformedTerms         a file of warranty terms that breaks its schema
    │   └── MalformedDossier       a dossier file that cannot be read
    ├── CheckFailed                well formed, and wrong
    │   ├── ChainBroken            an entry does not follow the one before it
    │   ├── InclusionFailed        an inclusion proof does not lead to the root
    │   ├── ConsistencyFailed      a later tree does not extend the earlier one
    │   ├── SignatureRejected      no signature by a trusted key verifies
    │   ├── SealedFieldMismatch    an opening does not match what was sealed
    │   ├── RootMismatch           the stored entries give another root than the head states
    │   ├── ViewMismatch           a view differs from what the entries give
    │   ├── DossierRejected        a dossier's content fails its checks
    │   └── LabelUnreadable        a rendered label does not decode to its address
    ├── Refused                    well formed, and not entered
    │   ├── UnknownSubject         names a lot, unit, gauge... that the book does not know
    │   ├── Contradiction          contradicts an earlier fact (an id or serial used twice)
    │   ├── RuleStands             a decision that a rule or an earlier fact stands against
    │   ├── KeyReused              an idempotency key said again with another body
    │   └── WitnessRefused         a checkpoint that a witness does not cosign; carries the C2SP status
    ├── NotFound                   a question about something the book does not hold
    ├── AccessDenied
    │   ├── Unauthenticated        no token, or one that is not known
    │   └── Forbidden              known, and without the role for this
    ├── KeyFileRefused             a key file that may not be used, made or opened so
    ├── TooLarge                   more than the stated limit
    ├── Unsupported                cannot be done on this machine; says what is missing
    └── StoreError                 the store, not the input, is the reason
        ├── StoreUnavailable       cannot be reached or opened
        ├── StoreBehind            older than the last checkpoint known elsewhere
        ├── StoreDamaged           its own rows contradict each other
        ├── KeyNotInTerm           this process holds no key that speaks for the book now
        └── WriterStopped          the writer is shutting down and took nothing

Callers match on the class or on ``code``, never on the text.
Messages are lower case, subject first, without a full stop: ``expected X, got Y``.
They never hold a secret or a whole record.
"""

from __future__ import annotations

import copyreg


class LedgerError(Exception):
    """The root. ``where`` names the field, entry or file; ``mend`` says what would put it right."""

    code = "ledger-error"

    def __init__(
        self,
        problem: str,
        *,
        expected: object = None,
        got: object = None,
        where: str = "",
        mend: str = "",
    ) -> None:
        """Build the message from its parts; ``got`` is shortened to 80 characters."""
        self.problem = problem
        self.expected = expected
        self.got = got
        self.where = where
        self.mend = mend
        super().__init__(self._message())

    def _message(self) -> str:
        text = self.problem
        if self.expected is not None:
            text += f": expected {self.expected}"
            if self.got is not None:
                text += f", got {_shortened(self.got)}"
        elif self.got is not None:
            text += f": got {_shortened(self.got)}"
        return f"{self.where}: {text}" if self.where else text

    def __reduce__(self) -> tuple[object, ...]:
        """What crosses to another process: the parts, as text where their type may not cross."""
        plain = (str, int, bytes, type(None))
        parts = {name: part if isinstance(part, plain) else str(part) for name, part in vars(self).items()}
        return copyreg.__newobj__, (type(self), *self.args), parts  # type: ignore[attr-defined]  # typeshed leaves it out


def _shortened(value: object) -> str:
    text = value if isinstance(value, str) else repr(value)
    return text if len(text) <= 80 else text[:77] + "..."


class MalformedInput(LedgerError):
    """Bytes or text that cannot be what they claim to be."""

    code = "malformed-input"


class MalformedCanonical(MalformedInput):
    """Not canonical JSON of the book's profile."""

    code = "malformed-canonical"


class MalformedInstant(MalformedInput):
    """Not an instant of the book's form."""

    code = "malformed-instant"


class MalformedDecimal(MalformedInput):
    """Not a decimal of the book's form."""

    code = "malformed-decimal"


class MalformedEntry(MalformedInput):
    """Not an entry of a known format."""

    code = "malformed-entry"


class MalformedRecord(MalformedInput):
    """A record whose fields do not fit its kind."""

    code = "malformed-record"


class MalformedNote(MalformedInput):
    """Not a C2SP signed note."""

    code = "malformed-note"


class MalformedCheckpoint(MalformedInput):
    """A note whose text is no checkpoint."""

    code = "malformed-checkpoint"


class MalformedProof(MalformedInput):
    """A Merkle proof that cannot be read."""

    code = "malformed-proof"


class MalformedReceipt(MalformedInput):
    """Not a C2SP tlog-proof."""

    code = "malformed-receipt"


class MalformedTile(MalformedInput):
    """A tile path or tile that is none."""

    code = "malformed-tile"


class MalformedKey(MalformedInput):
    """A key or verifier line that cannot be read."""

    code = "malformed-key"


class MalformedEnvelope(MalformedInput):
    """Not a DSSE envelope."""

    code = "malformed-envelope"


class MalformedSerial(MalformedInput):
    """A serial that the scheme cannot have produced."""

    code = "malformed-serial"


class MalformedLink(MalformedInput):
    """A label address or GTIN that is none."""

    code = "malformed-link"


class MalformedQuantity(MalformedInput):
    """A measured value, unit or weight form that is none."""

    code = "malformed-quantity"


class MalformedRulebook(MalformedInput):
    """A rulebook file that breaks its schema."""

    code = "malformed-rulebook"


class MalformedTerms(MalformedInput):
    """A file of warranty terms that breaks its schema."""

    code = "malformed-terms"


class MalformedDossier(MalformedInput):
    """A dossier file that cannot be read."""

    code = "malformed-dossier"


class CheckFailed(LedgerError):
    """Well formed, and wrong."""

    code = "check-failed"


class ChainBroken(CheckFailed):
    """An entry does not follow the one before it."""

    code = "chain-broken"


class InclusionFailed(CheckFailed):
    """An inclusion proof does not lead to the root."""

    code = "inclusion-failed"


class ConsistencyFailed(CheckFailed):
    """A later tree does not extend the earlier one."""

    code = "consistency-failed"


class SignatureRejected(CheckFailed):
    """No signature by a trusted key verifies."""

    code = "signature-rejected"


class SealedFieldMismatch(CheckFailed):
    """An opening does not match what was sealed."""

    code = "sealed-field-mismatch"


class RootMismatch(CheckFailed):
    """The stored entries give another root than the head states."""

    code = "root-mismatch"


class ViewMismatch(CheckFailed):
    """A view differs from what the entries give."""

    code = "view-mismatch"


class DossierRejected(CheckFailed):
    """A dossier's content fails its checks."""

    code = "dossier-rejected"


class LabelUnreadable(CheckFailed):
    """A rendered label does not decode to its address."""

    code = "label-unreadable"


class Refused(LedgerError):
    """Well formed, and not entered."""

    code = "refused"


class UnknownSubject(Refused):
    """Names a lot, unit, gauge... that the book does not know."""

    code = "unknown-subject"


class Contradiction(Refused):
    """Contradicts an earlier fact (an id or serial used twice)."""

    code = "contradiction"


class RuleStands(Refused):
    """A decision that a rule or an earlier fact stands against."""

    code = "rule-stands"


class KeyReused(Refused):
    """An idempotency key said again with another body."""

    code = "key-reused"


class WitnessRefused(Refused):
    """A checkpoint that a witness does not cosign; ``status`` is what C2SP tlog-witness answers with."""

    code = "witness-refused"

    def __init__(self, problem: str, *, status: int, stored_size: int | None = None) -> None:
        """Keep the status (400, 403, 404, 409 or 422) and, with 409, the size that the witness holds."""
        self.status = status
        self.stored_size = stored_size
        super().__init__(problem)


class NotFound(LedgerError):
    """A question about something the book does not hold."""

    code = "not-found"


class AccessDenied(LedgerError):
    """The caller may not do this."""

    code = "access-denied"


class Unauthenticated(AccessDenied):
    """No token, or one that is not known."""

    code = "unauthenticated"


class Forbidden(AccessDenied):
    """Known, and without the role for this."""

    code = "forbidden"


class KeyFileRefused(LedgerError):
    """A key file that may not be used, made or opened so."""

    code = "key-file-refused"


class TooLarge(LedgerError):
    """More than the stated limit."""

    code = "too-large"


class Unsupported(LedgerError):
    """Cannot be done on this machine; says what is missing."""

    code = "unsupported"


class StoreError(LedgerError):
    """The store, not the input, is the reason."""

    code = "store-error"


class StoreUnavailable(StoreError):
    """Cannot be reached or opened."""

    code = "store-unavailable"


class StoreBehind(StoreError):
    """Older than the last checkpoint known elsewhere."""

    code = "store-behind"


class StoreDamaged(StoreError):
    """Its own rows contradict each other."""

    code = "store-damaged"


class KeyNotInTerm(StoreError):
    """This process holds no key that speaks for the book now."""

    code = "key-not-in-term"


class WriterStopped(StoreError):
    """The writer is shutting down and took nothing."""

    code = "writer-stopped"
