"""The time stamp of a report's seal, from the settings: the first authority that answers."""

from typing import TYPE_CHECKING

from api.outgoing import Outgoing
from api.publishing import parse_authorities
from api.settings import Settings
from ledger.duties.token_talk import Authority
from ledger.duties.witness_talk import Send, Unreached
from ledger.evidence.time_token import REQUEST_TYPE, RESPONSE_TYPE

if TYPE_CHECKING:
    from ledger.evidence.pdf.seal import Stamp


def stamp_of(settings: Settings) -> "Stamp | None":
    """How a time stamp is got; None where no authority is named. Raises MalformedInput for what names none."""
    authorities = parse_authorities(settings.tsa)
    return stamp_by(Outgoing(settings.outgoing_s, plain=True), authorities) if authorities else None


def stamp_by(send: Send, authorities: tuple[Authority, ...]) -> "Stamp":
    """Asks the authorities in turn until one answers; what it answers is the caller's to check."""

    def stamp(request: bytes) -> bytes | str:
        why = []
        for authority in authorities:
            answer = send("POST", authority.url, request, REQUEST_TYPE)
            if isinstance(answer, Unreached):
                why.append(f"{authority.name}: {answer.why}")
            elif answer.status != 200 or answer.media != RESPONSE_TYPE:
                why.append(f"{authority.name}: it answered {answer.status} {answer.media}")
            else:
                return answer.body
        return "; ".join(why)

    return stamp
