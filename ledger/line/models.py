"""Models: construction, brand and GTIN; process plans; a body's approval; adopted rulebooks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from ledger.book.canonical import encode
from ledger.book.decimal_text import scaled
from ledger.book.instant import instant_ms
from ledger.errors import Contradiction, MalformedDecimal, MalformedRecord, RuleStands, UnknownSubject
from ledger.line.construction import Construction, check_construction
from ledger.line.fact import Breach, Fact
from ledger.line.gs1 import check_gtin14
from ledger.line.kind import Kind, Setting
from ledger.line.process_plan import Inspect, Window, plan_at, plan_needs
from ledger.line.quantity import OF_COMPONENTS, QUANTITIES
from ledger.line.record import Digest, Id, Name, On, Part, Record, Slug, Withheld
from ledger.line.rows import Approval, FactRow, Model, Plan, RulebookRow
from ledger.line.state import Need, State

Gtin = Annotated[str, Meta(pattern=r"^[0-9]{14}\Z", description="GTIN-14 with check digit")]
Revision = Annotated[int, Meta(ge=1, le=10_000)]


class KindStated(Part, frozen=True, kw_only=True):
    """Whether a model is of a kind that a rulebook's scope names, such as ``urethane`` or ``house``."""

    kind: Slug
    is_one: bool = msgspec.field(name="is")


class ModelDefined(Record, frozen=True, kw_only=True, tag="model-defined"):
    """A model, or a new revision of its construction, which states all of it anew.

    ``kinds`` and ``finish`` are what rulebooks ask of a model; ``construction``: its sizes, one for each weight class or
    one for all, from which its mass can be predicted.
    """

    model: Id
    name: Name
    brand: Name
    gtin: Gtin
    revision: Revision
    core: Literal["symmetric", "asymmetric"]
    recipe: Withheld | UnsetType = UNSET
    kinds: Annotated[tuple[KindStated, ...], Meta(max_length=20)] = ()
    finish: Literal["sanded", "polished"] | UnsetType = UNSET
    construction: Annotated[tuple[Construction, ...], Meta(max_length=13)] = ()


class PlanSet(Record, frozen=True, kw_only=True, tag="plan-set"):
    """The process plan of a model from ``at`` on: cure and rest windows, what is inspected, by which rulebooks.

    One that is said after its ``at`` may add rulebooks to those of the plan that stood then, and leaves none out.
    """

    model: Id
    windows: Annotated[tuple[Window, ...], Meta(max_length=20)]
    inspect: Annotated[tuple[Inspect, ...], Meta(max_length=40)]
    rulebooks: Annotated[tuple[Slug, ...], Meta(max_length=10)]


class ApprovalEntered(Record, frozen=True, kw_only=True, tag="approval-entered"):
    """A body's answer about a model: status by revision, weight classes, dates or serials, and event bars."""

    model: Id
    body: Slug
    revision: Revision
    status: Literal["approved", "refused", "revoked", "withdrawn"]
    from_on: On
    to_on: On | UnsetType = UNSET
    first_serial: Id | UnsetType = UNSET
    last_serial: Id | UnsetType = UNSET
    classes: Annotated[tuple[Annotated[int, Meta(ge=4, le=16)], ...], Meta(min_length=1, max_length=13)]
    bars: Annotated[tuple[Slug, ...], Meta(max_length=20)] = ()


class RulebookAdopted(Record, frozen=True, kw_only=True, tag="rulebook-adopted"):
    """The plant judges by this edition from now on; an earlier edition of the same name is superseded."""

    rulebook: Slug
    digest: Digest


def model_needs(model: str) -> list[Need]:
    """What `known_model` reads."""
    return [Need(Model, "model", model)]


def known_model(state: State, model: str, *, where: str) -> Model:
    """The model of this id. Raises UnknownSubject."""
    row = state.one(Model, model)
    if row is None:
        raise UnknownSubject(
            f"model {model} is not in the book",
            where=where,
            mend="define the model first (model-defined), or correct the id",
        )
    return row


def _defined_needs(record: ModelDefined, _state: State) -> Iterable[Need]:
    return [Need(Model, "model", record.model), Need(Model, "gtin", record.gtin)]


def _defined_check(record: ModelDefined, state: State, _setting: Setting) -> list[Breach]:
    check_gtin14(record.gtin)
    _check_kinds(record)
    check_construction(record.construction)
    standing = state.one(Model, record.model)
    if standing is not None and record.revision <= standing.revision:
        raise Contradiction(
            f"model {record.model} has that revision already, by fact {standing.address}",
            expected=f"revision above {standing.revision}",
            got=record.revision,
            where="revision",
            mend="number the new construction one higher",
        )
    for other in state.where(Model, "gtin", record.gtin):
        if other.model != record.model:
            raise Contradiction(
                f"GTIN {record.gtin} belongs to model {other.model}",
                where="gtin",
                mend="give each model a GTIN of its own",
            )
    return []


def _check_kinds(record: ModelDefined) -> None:
    kinds = [stated.kind for stated in record.kinds]
    for place, kind in enumerate(kinds):
        if kind in kinds[:place]:
            raise Contradiction(
                f"kind {kind} is stated twice", where=f"kinds[{place}].kind", mend="state each kind once, yes or no"
            )


def _defined_effects(fact: Fact, state: State) -> None:
    record: ModelDefined = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Model(
            model=record.model,
            name=record.name,
            brand=record.brand,
            gtin=record.gtin,
            revision=record.revision,
            core=record.core,
            address=fact.address,
            kinds=_json({stated.kind: stated.is_one for stated in record.kinds}),
            finish=None if record.finish is UNSET else record.finish,
        )
    )


def _plan_needs(record: PlanSet, state: State) -> Iterable[Need]:
    yield from model_needs(record.model)
    yield from plan_needs(record.model)
    if all(state.has(need) for need in plan_needs(record.model)):
        stood = plan_at(state, record.model, instant_ms(record.at))
        for name in _rulebooks_of(stood):
            yield Need(RulebookRow, "rulebook", name)


def _rulebooks_of(plan: Plan | None) -> list[str]:
    return [] if plan is None else [name for name in plan.rulebooks.split(",") if name]


def _check_frees_nothing(record: PlanSet, state: State, setting: Setting) -> None:
    """A plan that is said late frees no ball from a rulebook by which it was to be judged. Raises RuleStands.

    A rulebook that was never adopted has judged nothing, and may be left out.  A plan that is corrected was no matter of
    today when it was said: what its correction frees is `uses`' to refuse.
    """
    if instant_ms(record.at) >= setting.now_ms or state.has(Need(FactRow, "address", setting.address)):
        return
    stood = plan_at(state, record.model, instant_ms(record.at))
    for name in _rulebooks_of(stood):
        if stood is not None and name not in record.rulebooks and state.where(RulebookRow, "rulebook", name):
            raise RuleStands(
                f"plan {stood.plan} of {record.model} names rulebook {name} for what was engraved since {record.at}",
                expected=f"rulebooks with {name}, or a plan from now on",
                got=", ".join(record.rulebooks) or "no rulebook",
                where="rulebooks",
                mend=f"name {name} too, or let the plan begin (at) at an instant that is still to come",
            )


def _plan_check(record: PlanSet, state: State, setting: Setting) -> list[Breach]:
    known_model(state, record.model, where="model")
    _check_frees_nothing(record, state, setting)
    stages = [window.stage for window in record.windows]
    if len(set(stages)) != len(stages):
        raise Contradiction("two windows of one stage", where="windows", mend="state each stage once")
    for place, window in enumerate(record.windows):
        if window.max_s is not UNSET and window.max_s < window.min_s:
            raise Contradiction(
                "a window that nothing can keep",
                expected=f"max_s at least {window.min_s}",
                got=window.max_s,
                where=f"windows[{place}]",
                mend="swap or correct the two ends",
            )
        _check_temperatures(window, f"windows[{place}]")
    for place, inspect in enumerate(record.inspect):
        if inspect.quantity not in QUANTITIES:
            raise UnknownSubject(
                f"no quantity {inspect.quantity}",
                expected="one of " + ", ".join(QUANTITIES),
                where=f"inspect[{place}].quantity",
                mend="use one of the quantities listed",
            )
        if inspect.every == "unit" and inspect.quantity in OF_COMPONENTS:
            raise Contradiction(
                f"no ball is measured for {inspect.quantity}",
                expected="sample or model",
                got=inspect.every,
                where=f"inspect[{place}].every",
                mend="have it inspected by sample of the component's lot, or once a model",
            )
        _check_sample_numbers(inspect, f"inspect[{place}]")
    return []


def _check_temperatures(window: Window, where: str) -> None:
    ends = []
    for text, name in ((window.low_c, "low_c"), (window.high_c, "high_c")):
        if text is UNSET:
            continue
        try:
            ends.append(scaled(text, 6))
        except MalformedDecimal as error:
            raise MalformedRecord(
                "temperature is no decimal of at most six places",
                expected="such as 22.5",
                got=text,
                where=f"{where}.{name}",
                mend="state degrees Celsius as a decimal",
            ) from error
    if ends != sorted(ends):
        raise Contradiction(
            "a temperature that nothing can keep",
            expected=f"high_c at least {window.low_c}",
            got=window.high_c,
            where=where,
            mend="swap or correct the two ends",
        )


def _check_sample_numbers(inspect: Inspect, where: str) -> None:
    if inspect.every != "sample":
        return
    n, accept, reject = inspect.n, inspect.accept, inspect.reject
    if n is UNSET or accept is UNSET or reject is UNSET or not accept < reject <= n:
        raise Contradiction(
            "a sample plan needs its numbers",
            expected="n, accept and reject, with accept < reject <= n",
            where=where,
            mend="state n, accept and reject",
        )


def _plan_effects(fact: Fact, state: State) -> None:
    record: PlanSet = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Plan(
            plan=fact.address,
            model=record.model,
            from_ms=instant_ms(record.at),
            windows=_json(record.windows),
            inspect=_json(record.inspect),
            rulebooks=",".join(record.rulebooks),
        )
    )


def _json(value: object) -> str:
    return encode(msgspec.to_builtins(value)).decode()


def _approval_effects(fact: Fact, state: State) -> None:
    record: ApprovalEntered = fact.record  # type: ignore[assignment]  # the kind table pairs them
    state.put(
        Approval(
            approval=fact.address,
            model=record.model,
            body=record.body,
            revision=record.revision,
            status=record.status,
            from_on=record.from_on,
            to_on=None if record.to_on is UNSET else record.to_on,
            first_serial=None if record.first_serial is UNSET else record.first_serial,
            last_serial=None if record.last_serial is UNSET else record.last_serial,
            classes=",".join(str(pounds) for pounds in record.classes),
            bars=",".join(record.bars),
        )
    )


def _approval_check(record: ApprovalEntered, state: State, _setting: Setting) -> list[Breach]:
    known_model(state, record.model, where="model")
    return []


def _adopted_effects(fact: Fact, state: State) -> None:
    record: RulebookAdopted = fact.record  # type: ignore[assignment]  # the kind table pairs them
    for earlier in state.where(RulebookRow, "rulebook", record.rulebook):
        state.put(msgspec.structs.replace(earlier, superseded=True))
    state.put(
        RulebookRow(rulebook=record.rulebook, digest=record.digest, adopted_ms=instant_ms(record.at), superseded=False)
    )


def _adopted_check(record: RulebookAdopted, state: State, _setting: Setting) -> list[Breach]:
    for row in state.where(RulebookRow, "digest", record.digest):
        if row.rulebook != record.rulebook:
            raise Contradiction(
                f"that edition is adopted as rulebook {row.rulebook}",
                expected=row.rulebook,
                got=record.rulebook,
                where="rulebook",
                mend="use one name for one edition",
            )
    return []


KINDS = (
    Kind(
        ModelDefined,
        "decision",
        _defined_needs,
        _defined_check,
        _defined_effects,
        lambda record: [f"model:{record.model}"],
    ),
    Kind(
        PlanSet,
        "decision",
        _plan_needs,
        _plan_check,
        _plan_effects,
        lambda record: [f"model:{record.model}"],
    ),
    Kind(
        ApprovalEntered,
        "decision",
        lambda record, _state: model_needs(record.model),
        _approval_check,
        _approval_effects,
        lambda record: [f"model:{record.model}"],
    ),
    Kind(
        RulebookAdopted,
        "decision",
        lambda record, _state: [
            Need(RulebookRow, "rulebook", record.rulebook),
            Need(RulebookRow, "digest", record.digest),
        ],
        _adopted_check,
        _adopted_effects,
        lambda record: [f"rulebook:{record.rulebook}"],
    ),
)
