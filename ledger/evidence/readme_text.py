"""The README of a dossier: what it is, how to check it, what it does not show. For a reader who has nothing else."""

from __future__ import annotations

_TEXT = """\
This is a dossier: evidence about bowling balls, handed over by the maker that keeps the book named

    {book}

It stands on its own. Nothing in it asks you to trust the maker's database, or to have a network.

WHAT IS IN IT (some of it only where it was asked for)
  entries/       what was written in the book, byte for byte, one file an entry
  receipts/      for each entry, the proof that it stands in the book under the checkpoint (C2SP tlog-proof)
  openings/      for entries with sealed fields: each opened, withheld or erased
  checkpoint     the signed head of the book (C2SP tlog-checkpoint), with the cosignatures of witnesses
  tokens/        time stamps over the checkpoint (RFC 3161)
  keys.json      the keys of the book, and the sizes of the book over which each speaks
  rulebooks/     the limits by which the balls were judged, each file named by its SHA-256
  lots/          for each shell lot, how many balls it had when it was closed, and which of them are here
  balls/         one sheet a ball: its facts, lots, readings and verdicts
  events/        the history of each ball as EPCIS 2.0 events
  credentials/   a verifiable credential about each ball; did.json holds its issuer's keys
  approval.json  the approval file that the balls are samples of, with checklists/ and documents/
  verdicts.csv   the verdicts of all sheets as one table
  report.pdf     the same for people who print it
  SHA256SUMS, manifest.json, manifest.sig   the digests of all of it, signed

HOW TO CHECK IT
  pourbook verify dossier THIS-FILE --key KEY
KEY is the verifier line of the book's checkpoint key. Get it from somewhere else than from whoever gave you this file;
likewise a policy of witnesses (--policy) and the root of a time stamping authority (--tsa-root).
Without Pourbook: open verify.html in a browser, offline, and give it this file. A page inside a file that you do not trust
proves nothing: first compare its SHA-256 with the one that the maker publishes.
With other tools: VERIFY.md says what can be checked by which.

WHAT IT DOES NOT SHOW
  - That what was written down is true. It shows that it was written, and that it has not been changed since.
  - That nothing else was written about these balls: an entry that was left out does not show here. A ball that was left
    out of a closed lot does.
  - Files beside the book: an entry may name one by its SHA-256 (a temperature log, a photo of a claim). Ask the maker
    for the file, and compare its digest. One that an entry of the kind "blob-erasure" names was destroyed by the
    maker: it is not missing.
  - That the checkpoint is the only one: for that, compare it with a witness or with another reader's. Cosignatures say
    that witnesses saw this one, and no other of this size.
A field that is "withheld" can be opened by the maker. One that is "erased" was destroyed by the maker,
and an entry here of the kind "erasure" says when and why: it cannot be opened by anybody who did not keep a copy.
Neither is a sign of tampering: what was sealed still stands in the entry as its digest.

CAUTIONS
  - A verdict is the maker's own assessment. Approval rests with the governing body, and each limit must be checked
    against the body's current manual. A limit marked second-hand or memory was not read in the body's own text.
  - A lot marked possible is one of several that the ball may have taken: the records do not tell which.
  - A label can be copied. A number in this file was issued by the maker; that a ball in your hand is the one that it
    was issued for is for you to see.
"""


def readme_text(book: str) -> str:
    """The text for a book's dossiers: the same for each of them."""
    return _TEXT.format(book=book)
