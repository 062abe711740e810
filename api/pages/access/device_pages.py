"""Devices of the line: enrolled at one page by a code, which is typed at another on the device itself."""

import asyncio
from typing import Any

from litestar import Controller, Request, Response, get, post
from litestar.params import FromPath

from api.operation import Operation, described
from api.pages import HTML
from api.pages.access.forms import Fault, fault_of, read_form
from api.pages.access.shown import show
from api.pages.refusal import FRONT, see_other
from api.parts import parts_of
from ledger.application.devices import DEVICE_ROLES, STAGES, Enrolment, enrol_device, exchange_code
from ledger.errors import LedgerError
from ledger.store.accounts import list_accounts
from ledger.store.devices import end_device, list_devices

DEVICES = "/devices"
ENROL = "/enrol"


def _described(summary: str) -> dict[str, Any]:
    return described(Operation(summary, "pages", action="devices", media=HTML, page=True))


class Devices(Controller):
    """Which devices stand for which accounts."""

    path = DEVICES

    @get(opt=_described("Devices of the line"))
    async def listed(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Devices in use, and the form for another."""
        return await _page(request)

    @post(status_code=200, opt=_described("Enrol a device"))
    async def made(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """A device, and the code that is to be typed on it; it is shown once."""
        parts = parts_of(request)
        form = await read_form(request)
        account, name, stage = (form.text(field) for field in ("account", "name", "stage"))
        try:
            enrolment = await asyncio.to_thread(
                enrol_device, parts.book.store, account, name, stage or None, parts.book.clock_ms()
            )
        except LedgerError as error:
            return await _page(request, fault=fault_of(error), status=422, typed=(account, name, stage))
        return await _page(request, enrolment=enrolment)

    @post("/{device:str}/end", status_code=303, opt=_described("End a device"))
    async def ended(self, request: Request[Any, Any, Any], device: FromPath[str]) -> Response[bytes]:
        """A device that stands for nobody any more."""
        parts = parts_of(request)
        await asyncio.to_thread(end_device, parts.book.store, device, parts.book.clock_ms())
        parts.sessions.forget()
        return see_other(DEVICES)


class Enrolling(Controller):
    """What is opened on the device itself."""

    path = ENROL

    @get(opt=described(Operation("Enrol this device", "pages", media=HTML, page=True)))
    async def form(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Where the code is typed."""
        return show(request, "enrol.html")

    @post(status_code=303, opt=described(Operation("Enrol this device", "pages", media=HTML, page=True, limited=True)))
    async def sent(self, request: Request[Any, Any, Any]) -> Response[bytes]:
        """Exchange the code for this device's cookie; the station's page opens."""
        parts = parts_of(request)
        form = await read_form(request)
        try:
            cookie = await asyncio.to_thread(exchange_code, parts.book.store, form.text("code"), parts.book.clock_ms())
        except LedgerError as error:
            return show(request, "enrol.html", fault=fault_of(error), status=422)
        response = see_other(FRONT)
        parts.sessions.give(request, response, "device", cookie)
        return response


async def _page(
    request: Request[Any, Any, Any],
    *,
    fault: Fault | None = None,
    status: int = 200,
    typed: tuple[str, str, str] = ("", "", ""),
    enrolment: Enrolment | None = None,
) -> Response[bytes]:
    parts = parts_of(request)
    rows = await asyncio.to_thread(list_accounts, parts.book.store)
    devices = await asyncio.to_thread(list_devices, parts.book.store, parts.book.clock_ms())
    accounts = [(row.account, row.name) for row in rows if row.closed_ms is None and row.roles & DEVICE_ROLES]
    return show(
        request,
        "devices.html",
        fault=fault,
        status=status,
        devices=[device for device in devices if device.ended_ms is None],
        accounts=accounts,
        stages=STAGES,
        typed=typed,
        enrolment=enrolment,
        host=f"{'https' if parts.sessions.is_secure(request) else 'http'}://{request.headers.get('host', '')}",
    )
