"""Another party that knows who somebody is: an OpenID Connect provider, asked by Authorization Code with PKCE.

Sources: OpenID Connect Core 1.0 sections 3.1.2 (request), 3.1.3.3 (token response) and 3.1.3.7 (checks of the ID token),
OpenID Connect Discovery 1.0 section 4, RFC 7636 (PKCE, method S256), RFC 6749 section 2.3.1 (client secret by Basic).
Clauses from memory.

What one round needs to be remembered is derived from 32 random bytes that lie in a short cookie of the browser: state,
nonce and code verifier.  So an answer counts only in the browser that asked, and nothing is stored here.

Needs the packages of the extra ``oidc``; without them, Unsupported says so.
"""

import asyncio
import base64
import time
from collections.abc import Callable
from hashlib import sha256
from hmac import compare_digest
from types import ModuleType
from typing import Any, NamedTuple
from urllib.parse import quote_plus, urlencode, urlsplit

from api.settings import Settings, first_line
from ledger.errors import Unauthenticated, Unsupported

ALGORITHMS = ("RS256", "PS256", "ES256")
"""Signatures that are taken; RS256 is the one every provider has."""

KEPT_S = 3600.0
TIMEOUT_S = 10.0
LEEWAY_S = 60
LONGEST_ANSWER = 1_000_000

_REFUSED = "sign-in by the other party was refused"
_MEND = "sign in again, or by name and password"


class Round(NamedTuple):
    """One sign-in under way: what is derived from the secret of its cookie."""

    state: str
    nonce: str
    verifier: str

    @staticmethod
    def of(secret: str) -> "Round":
        """The round of a cookie's text."""
        return Round(*(_derived(secret, part) for part in ("state", "nonce", "verifier")))

    @property
    def challenge(self) -> str:
        """The PKCE challenge, S256 of the verifier."""
        return _base64url(sha256(self.verifier.encode()).digest())


class Provider:
    """One provider, by its issuer. Used on the event loop."""

    def __init__(
        self,
        issuer: str,
        client_id: str,
        client_secret: str,
        *,
        clock_s: Callable[[], float] = time.time,
        memory_clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """``clock_s``: the wall clock by which tokens expire. Raises Unsupported without its packages, or for plain http."""
        self._httpx, self._jwt, self._jwk, self._failures = _packages()
        address = urlsplit(issuer)
        if address.scheme != "https" and address.hostname not in {"127.0.0.1", "localhost", "::1"}:
            raise Unsupported("issuer is not asked over plain http", expected="an https address", where="oidc_issuer")
        self.issuer = issuer
        self._client_id = client_id
        self._client_secret = client_secret
        self._clock_s = clock_s
        self._memory_clock_s = memory_clock_s
        self._known: dict[str, tuple[Any, float]] = {}
        self._asking = asyncio.Lock()

    async def address(self, one: Round, back: str) -> str:
        """Where the browser is sent to; ``back`` is where it shall come back to."""
        asked = {
            "response_type": "code",
            "client_id": self._client_id,
            "redirect_uri": back,
            "scope": "openid profile email",
            "state": one.state,
            "nonce": one.nonce,
            "code_challenge": one.challenge,
            "code_challenge_method": "S256",
        }
        endpoint = str((await self._metadata())["authorization_endpoint"])
        return f"{endpoint}{'&' if '?' in endpoint else '?'}{urlencode(asked)}"

    async def claims(self, one: Round, *, state: str, code: str, back: str) -> dict[str, Any]:
        """What the provider says of the person who came back. Raises Unauthenticated for anything that does not fit."""
        if not code or not compare_digest(one.state.encode(), state.encode("utf-8", "replace")):
            raise Unauthenticated(
                _REFUSED, expected="the state of this browser's own request", where="state", mend=_MEND
            )
        answer = await self._asked(
            "POST",
            str((await self._metadata())["token_endpoint"]),
            data={
                "grant_type": "authorization_code",
                "code": code,
                "redirect_uri": back,
                "code_verifier": one.verifier,
            },
            # RFC 6749 section 2.3.1: both are form-encoded before they are joined.
            auth=(quote_plus(self._client_id), quote_plus(self._client_secret)),
        )
        token = answer.get("id_token")
        if not isinstance(token, str):
            raise Unauthenticated(_REFUSED, expected="an ID token", where="id_token", mend=_MEND)
        return await self._checked(token, one)

    async def _checked(self, token: str, one: Round) -> dict[str, Any]:
        claims = await self._signed(token)
        audience = claims.get("aud")
        audiences = audience if isinstance(audience, list) else [audience]
        checks = {
            "iss": claims.get("iss") == self.issuer,
            "aud": self._client_id in audiences,
            "azp": claims.get("azp", self._client_id if len(audiences) == 1 else None) == self._client_id,
            "nonce": compare_digest(str(claims.get("nonce")).encode("utf-8", "replace"), one.nonce.encode()),
            "sub": isinstance(claims.get("sub"), str) and bool(claims["sub"]),
            "exp": _number(claims.get("exp")) + LEEWAY_S > self._clock_s(),
            "iat": 0 < _number(claims.get("iat")) <= self._clock_s() + LEEWAY_S,
            "nbf": _number(claims.get("nbf", 0)) <= self._clock_s() + LEEWAY_S,
        }
        for claim, holds in checks.items():
            if not holds:
                raise Unauthenticated(_REFUSED, expected=f"an ID token with the right {claim}", where=claim, mend=_MEND)
        return claims

    async def _signed(self, token: str) -> dict[str, Any]:
        """The claims of a token whose signature verifies; keys are fetched anew once for one that is not among those known."""
        try:
            return self._decoded(token, await self._keys(fresh=False))
        except self._failures.InvalidKeyIdError:
            keys = await self._keys(fresh=True)
        except (self._failures.JoseError, ValueError) as error:
            raise _unsigned() from error
        try:
            return self._decoded(token, keys)
        except (self._failures.JoseError, ValueError) as error:
            raise _unsigned() from error

    def _decoded(self, token: str, keys: Any) -> dict[str, Any]:
        return dict(self._jwt.decode(token, keys, algorithms=list(ALGORITHMS)).claims)

    async def _keys(self, *, fresh: bool) -> Any:
        address = str((await self._metadata())["jwks_uri"])
        return await self._kept("keys", address, self._key_set, fresh=fresh)

    async def _metadata(self) -> dict[str, Any]:
        address = f"{self.issuer.rstrip('/')}/.well-known/openid-configuration"
        found: dict[str, Any] = await self._kept("metadata", address, self._description, fresh=False)
        return found

    def _key_set(self, answer: dict[str, Any]) -> Any:
        try:
            return self._jwk.KeySet.import_key_set(answer)
        except (self._failures.JoseError, ValueError, KeyError, TypeError) as error:
            raise _unreachable("its keys cannot be read") from error

    def _description(self, answer: dict[str, Any]) -> dict[str, Any]:
        needed = ("authorization_endpoint", "token_endpoint", "jwks_uri")
        if answer.get("issuer") != self.issuer or not all(isinstance(answer.get(name), str) for name in needed):
            raise _unreachable("its description is not that of the issuer")
        return answer

    async def _kept(self, name: str, address: str, read: Callable[[dict[str, Any]], Any], *, fresh: bool) -> Any:
        """What ``read`` makes of an answer of the provider, asked again after an hour; an answer that it refuses is not kept."""
        async with self._asking:
            kept = self._known.get(name)
            if kept is not None and not fresh and self._memory_clock_s() < kept[1]:
                return kept[0]
            found = read(await self._asked("GET", address))
            self._known[name] = (found, self._memory_clock_s() + KEPT_S)
            return found

    async def _asked(self, method: str, address: str, **sent: Any) -> dict[str, Any]:
        """A JSON object of the provider. Raises Unauthenticated for another answer: the person can only try again."""
        try:
            async with self._httpx.AsyncClient(timeout=TIMEOUT_S) as client:
                answer = await client.request(method, address, headers={"accept": "application/json"}, **sent)
            found = answer.json() if len(answer.content) <= LONGEST_ANSWER else None
        except (self._httpx.HTTPError, self._httpx.InvalidURL, ValueError) as error:
            raise _unreachable(type(error).__name__) from error
        if answer.status_code != 200 or not isinstance(found, dict):
            raise _unreachable(f"status {answer.status_code}")
        return found


def provider_of(settings: Settings) -> Provider | None:
    """The provider that the settings name; None where they name none. Raises MalformedInput, Unsupported."""
    if not settings.oidc_issuer:
        return None
    secret = first_line(settings.oidc_client_secret_file)
    return Provider(settings.oidc_issuer, settings.oidc_client_id, secret)


def _packages() -> tuple[Any, Any, Any, Any]:
    try:
        import httpx  # noqa: PLC0415  # of an extra: a service without it must start
        from joserfc import errors, jwk, jwt  # noqa: PLC0415  # as above
    except ImportError as error:
        raise Unsupported(
            "sign-in by another party needs packages that are not installed",
            where="oidc_issuer",
            mend="install pourbook with the extra oidc",
        ) from error
    found: tuple[ModuleType, ...] = (httpx, jwt, jwk, errors)
    return found[0], found[1], found[2], found[3]


def _unreachable(why: str) -> Unauthenticated:
    return Unauthenticated("other party cannot be asked", got=why, where="oidc_issuer", mend=_MEND)


def _unsigned() -> Unauthenticated:
    return Unauthenticated(_REFUSED, expected="an ID token signed by the issuer", where="id_token", mend=_MEND)


def _derived(secret: str, part: str) -> str:
    return _base64url(sha256(f"pourbook oidc {part}\n{secret}".encode()).digest())


def _base64url(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def _number(value: Any) -> float:
    """A NumericDate (RFC 7519 section 2); what is none is before everything."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else float("-inf")
