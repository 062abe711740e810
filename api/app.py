"""The application: the one place where the parts of the service are put together.

The book is opened and started by the caller; the application closes it when the server stops, after the group at hand.
"""

import asyncio
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from typing import Any

from litestar import Litestar
from litestar.datastructures import State
from litestar.exceptions import HTTPException
from litestar.plugins import PluginProtocol
from litestar.plugins.core import MsgspecDIPlugin

from api.delivery import Delivery
from api.guards import Identity, guard
from api.headers import add_headers
from api.histogram import Histogram
from api.links import Links
from api.openapi import Description
from api.pages.access.provider import provider_of
from api.pages.access.routes import ACCESS_PAGES
from api.pages.ball.routes import BALL_PAGES
from api.pages.book import BOOK_PAGES
from api.pages.containment.routes import CONTAINMENT_PAGES
from api.pages.desk.routes import DESK_PAGES
from api.pages.evidence.routes import EVIDENCE_PAGES
from api.pages.limits.routes import LIMITS_PAGES
from api.pages.lots.routes import LOT_PAGES
from api.pages.session import Sessions
from api.pages.shipments.routes import SHIPMENT_PAGES
from api.pages.stations.ball_routes import BALL_STATION_PAGES
from api.pages.stations.routes import STATION_PAGES
from api.parts import TURNS, WORKERS, Parts
from api.problems import answer_problem
from api.rate_limit import RateLimiter
from api.routes.accounts import Accounts
from api.routes.approvals import ApprovalRoutes
from api.routes.balls import Balls
from api.routes.blobs import Blobs
from api.routes.budgets import BudgetRoutes
from api.routes.cases import CaseRoutes, SuspectRoutes
from api.routes.checklists import ChecklistRoutes
from api.routes.claim_words import ClaimWords
from api.routes.claims import ClaimRoutes
from api.routes.conformity import ConformityRoutes
from api.routes.consignees import ConsigneeRoutes
from api.routes.containing import ContainingRoutes
from api.routes.credentials import CredentialRoutes
from api.routes.dossiers import Dossiers
from api.routes.epcis import EpcisRoutes
from api.routes.examining import ExaminationRoutes
from api.routes.figures import Figures
from api.routes.finding import FindRoutes
from api.routes.gauges import GaugeRoutes
from api.routes.health import Health
from api.routes.impact import ImpactRoutes
from api.routes.imports import Imports
from api.routes.labels import Labels
from api.routes.link import PublicLink
from api.routes.lots import Lots
from api.routes.mass_checks import MassCheckRoutes
from api.routes.pages import Pages
from api.routes.proofs import Proofs
from api.routes.published import PublishedRoutes
from api.routes.registers import Registers
from api.routes.releases import Releases
from api.routes.rulebooks import RulebookRoutes
from api.routes.sampling import SamplingRoutes
from api.routes.serials import Serials
from api.routes.signals import SignalRoutes
from api.routes.standing import Standing
from api.routes.submissions import Submissions
from api.routes.temperatures import Temperatures
from api.routes.verifier import Verifier
from api.routes.warranty import Warranty
from api.settings import Settings
from api.standby import Lagging
from api.traces import Traced, Traces
from api.uploads import close_uploads
from ledger.application.book_checks import BookChecks
from ledger.application.long_reads import LongReads
from ledger.application.pourbook import Pourbook
from ledger.errors import LedgerError
from ledger.line.rows import Lot, Model
from ledger.store.followed_store import FollowedStore
from ledger.store.reader import open_reader

ROUTES = (
    Submissions,
    Serials,
    Balls,
    Lots,
    Temperatures,
    Releases,
    Registers,
    Standing,
    ConformityRoutes,
    ImpactRoutes,
    Figures,
    GaugeRoutes,
    BudgetRoutes,
    MassCheckRoutes,
    SamplingRoutes,
    RulebookRoutes,
    ChecklistRoutes,
    ApprovalRoutes,
    FindRoutes,
    Imports,
    Warranty,
    ClaimRoutes,
    SuspectRoutes,
    CaseRoutes,
    ContainingRoutes,
    ConsigneeRoutes,
    ClaimWords,
    SignalRoutes,
    Dossiers,
    EpcisRoutes,
    CredentialRoutes,
    ExaminationRoutes,
    Labels,
    Blobs,
    PublicLink,
    Proofs,
    Verifier,
    PublishedRoutes,
    Accounts,
    Health,
    Pages,
    *ACCESS_PAGES,
    *BALL_PAGES,
    *LOT_PAGES,
    *SHIPMENT_PAGES,
    *STATION_PAGES,
    *BALL_STATION_PAGES,
    *LIMITS_PAGES,
    *BOOK_PAGES,
    *DESK_PAGES,
    *CONTAINMENT_PAGES,
    *EVIDENCE_PAGES,
)


class HeadAsGet:
    """Answers HEAD as GET without a body: link checkers and scanners send it to addresses on labels."""

    def __init__(self, app: Litestar | Traced | Lagging) -> None:
        """Stand in front of ``app``."""
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """One ASGI call."""
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def headers_only(message: Any) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        asked: Any = {**scope, "method": "GET"}
        await self.app(asked, receive, headers_only)


class _Service(Litestar):
    """The framework without the plugins that it adds for libraries in which nothing here is written.

    What is sent and answered is msgspec's; the stores' models are never.  The method is the framework's own, not its interface:
    a release that asks another way adds them again, which costs a tenth of a second of each start and nothing else.
    """

    @staticmethod
    def _get_default_plugins(plugins: list[PluginProtocol]) -> list[PluginProtocol]:
        return [*plugins, MsgspecDIPlugin()]


def create_app(book: Pourbook, settings: Settings, delivery: Delivery, traces: Traces | None = None) -> HeadAsGet:
    """The service over a started book; ``delivery`` is what the book's writer was given to answer with.

    ``traces``: where spans go, shut down with the service.
    """
    parts = Parts(
        book=book,
        settings=settings,
        delivery=delivery,
        identity=Identity(book.account_of, settings.token_memory_s),
        sessions=Sessions(
            book.store, settings.token_memory_s, clock_ms=book.clock_ms, secure_cookies=settings.secure_cookies
        ),
        limiter=RateLimiter(settings.public_per_minute, settings.public_burst),
        links=Links(book.label_stem, lambda lot: _gtin_of(book, lot)),
        registrations=Histogram(),
        long_reads=LongReads(book, settings.long_reads),
        checks=_checks(book, settings),
        turns=asyncio.Semaphore(TURNS),
        provider=provider_of(settings),
        traces=traces,
    )
    app = _Service(
        route_handlers=ROUTES,
        guards=[guard],
        exception_handlers={LedgerError: answer_problem, HTTPException: answer_problem, Exception: answer_problem},
        before_send=[add_headers, close_uploads],
        request_max_body_size=settings.body_limit,
        lifespan=[_lifespan],
        openapi_config=None,
        logging_config=None,
        state=State({"parts": parts}, deep_copy=False),
    )
    app.state.description = Description(app, f"Pourbook {book.origin}")
    whole = app if traces is None else Traced(app, traces)
    if isinstance(book.store, FollowedStore):
        return HeadAsGet(Lagging(whole, delivery, settings))
    return HeadAsGet(whole)


@asynccontextmanager
async def _lifespan(app: Litestar) -> AsyncIterator[None]:
    parts: Parts = app.state.parts
    loop = asyncio.get_running_loop()
    workers = ThreadPoolExecutor(WORKERS, thread_name_prefix="question")
    loop.set_default_executor(workers)
    parts.delivery.bind(loop)
    try:
        yield
    finally:
        await asyncio.to_thread(parts.long_reads.close)
        await asyncio.to_thread(parts.checks.close)
        # The loop runs on until the writer has answered everyone.
        await asyncio.to_thread(parts.book.close)
        parts.delivery.bind(None)
        if parts.traces is not None:
            await asyncio.to_thread(parts.traces.close)


def _checks(book: Pourbook, settings: Settings) -> BookChecks:
    return BookChecks(
        book.store,
        origin=book.origin,
        keys=lambda: [signer.verifier for signer in book.signers.checkpoints()],
        clock_ms=book.clock_ms,
        apart=settings.long_reads > 0,
    )


def _gtin_of(book: Pourbook, lot: str) -> str:
    """The GTIN that balls of a lot carry; empty where there is none. Two rows by their keys."""
    with open_reader(book.store) as reader:
        row = reader.one(Lot, lot)
        model = None if row is None or row.model is None else reader.one(Model, row.model)
    return "" if model is None else model.gtin
