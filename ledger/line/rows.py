"""The view rows: what the entries say of each lot, unit, gauge, hold..., one flat row a thing.

A row holds text, whole numbers, booleans or nothing: no floats, no clock reading, no computed verdict.
Instants are POSIX milliseconds (``_ms``), amounts are grams for materials and batches and pieces from blocks on,
measured values are whole millionths of the unit they were measured in.

A row belongs to one **node** (``lot:SL-104``, ``unit:U-000017``, ``fact:41.0``): the rows of a node are a pure fold
over the facts about that node, in address order, and over nothing else.  That is what lets a correction fold a node
anew, and a rebuild give the same rows.
"""

from __future__ import annotations

from typing import Any

import msgspec


class Row(msgspec.Struct, frozen=True, kw_only=True, gc=False):
    """Base of every view row. It holds nothing that could refer back to it, so the collector need not look at it."""


class FactRow(Row, frozen=True, kw_only=True):
    """One fact of the book and where its standing body is said (its own entry, or the correction that replaced it)."""

    address: str
    index: int
    position: int
    kind: str
    at_ms: int
    recorded_ms: int
    author: str
    late: bool
    doubtful: bool
    standing: bool
    body: str


class About(Row, frozen=True, kw_only=True):
    """A fact concerns a node."""

    node: str
    address: str
    index: int
    position: int


class BreachRow(Row, frozen=True, kw_only=True):
    """A rule that a fact shows was not kept."""

    breach: str
    address: str
    code: str
    node: str
    said: str


class Model(Row, frozen=True, kw_only=True):
    """A ball model at a revision of its construction.

    ``kinds``: canonical JSON, kind -> whether the model is one, as far as it states that.  ``finish``: sanded or polished.
    """

    model: str
    name: str
    brand: str
    gtin: str
    revision: int
    core: str
    address: str
    kinds: str = "{}"
    finish: str | None = None


class Plan(Row, frozen=True, kw_only=True):
    """A model's process plan from an instant on; ``windows`` and ``inspect`` are canonical JSON."""

    plan: str
    model: str
    from_ms: int
    windows: str
    inspect: str
    rulebooks: str


class Approval(Row, frozen=True, kw_only=True):
    """A body's standing towards a model from a date on (ISO date text, compared as text)."""

    approval: str
    model: str
    body: str
    revision: int
    status: str
    from_on: str
    to_on: str | None
    first_serial: str | None
    last_serial: str | None
    classes: str
    bars: str


class RulebookRow(Row, frozen=True, kw_only=True):
    """A rulebook edition that the plant adopted, by digest of its file."""

    rulebook: str
    digest: str
    adopted_ms: int
    superseded: bool


class ChecklistRow(Row, frozen=True, kw_only=True):
    """A submission checklist that the plant adopted, by digest of its file."""

    checklist: str
    digest: str
    adopted_ms: int
    superseded: bool


class Lot(Row, frozen=True, kw_only=True):
    """A lot and its account: ``made + adjusted - used - lost`` is what is left.

    ``finish``: how its pieces were finished last, and ``finish_ms`` when; None where the line did not say.
    """

    lot: str
    stage: str
    model: str | None
    revision: int | None
    weight_class: int | None
    material: str | None
    began_ms: int
    ended_ms: int
    made: int
    rejects: int
    adjusted: int
    used: int
    lost: int
    expires_on: str | None
    density_micro: int | None
    closed: bool
    clock_ms: int
    address: str
    finish: str | None = None
    finish_ms: int | None = None


class LotStep(Row, frozen=True, kw_only=True):
    """A step done on a whole lot, such as cleaning, trimming, turning; ``station`` is where, None for a change in mid-lot."""

    lot_step: str
    lot: str
    step: str
    began_ms: int
    ended_ms: int
    address: str
    station: str | None = None


class Descent(Row, frozen=True, kw_only=True):
    """A child lot holds something of a parent lot.

    ``part`` groups alternatives: with several parents in one part, a piece of the child holds one *or* another of them,
    unless ``blended`` says that every piece holds all, or ``first``..``last`` name the positions (1-based, inclusive).
    """

    descent: str
    child: str
    parent: str
    part: str
    blended: bool
    amount: int
    first: int | None
    last: int | None


class Unit(Row, frozen=True, kw_only=True):
    """One ball from turning on. ``serial`` is the number it bears now.

    ``finish``: how it was finished last by itself, ``unstated`` after work that did not say how it left the surface, and
    ``finish_ms`` when; None where nothing was done to it apart from its lot.  ``engraved_by``: the station that engraved it
    first.
    """

    unit: str
    lot: str
    place: int | None
    serial: str | None
    weight_class: int | None
    began_ms: int
    engraved_ms: int | None
    cg_marked: bool
    state: str
    grade: str | None
    release: str | None
    rework: str | None
    away: str | None
    finish: str | None = None
    finish_ms: int | None = None
    engraved_by: str | None = None


class SerialRow(Row, frozen=True, kw_only=True):
    """A number that a unit bears or bore; ``until_ms`` is set once it was engraved over."""

    serial_row: str
    serial: str
    unit: str
    since_ms: int
    until_ms: int | None
    own_scheme: bool


class Allotment(Row, frozen=True, kw_only=True):
    """A serial given to a station before it is engraved."""

    serial: str
    counter: int
    station: str
    address: str


class Counter(Row, frozen=True, kw_only=True):
    """The next counter value of the serial scheme, per key epoch."""

    counter: str
    next: int


class Hold(Row, frozen=True, kw_only=True):
    """A hold on a node, or on all that a rule describes; ``stops`` is a sorted comma list of use, work, release, shipment.

    ``opened`` and ``lifted`` are the addresses at which it began to stand and, where it is not open, ended.
    """

    hold: str
    node: str
    rule: str | None
    stops: str
    reason: str
    recall: bool
    open: bool
    opened_ms: int
    lifted_by: str
    opened: str
    lifted: str | None


class Concession(Row, frozen=True, kw_only=True):
    """A use-as-is decision on a node; ``holds`` is the comma list of the breach holds that it lifted."""

    concession: str
    node: str
    holds: str


class SampleJudged(Row, frozen=True, kw_only=True):
    """The judgement of a lot's inspection sample for one quantity; ``judged_ms``: when, as said."""

    sample: str
    lot: str
    quantity: str
    n: int
    nonconforming: int
    accepted: bool
    judged_ms: int


class ModelJudged(Row, frozen=True, kw_only=True):
    """The judgement of a type test of a model at a revision, for one quantity."""

    model_test: str
    model: str
    revision: int
    quantity: str
    n: int
    nonconforming: int
    accepted: bool


class Shipped(Row, frozen=True, kw_only=True):
    """A unit left in a shipment, or came back. ``consignee``: who it was sent to, where that is one of the register."""

    shipped: str
    shipment: str
    unit: str
    at_ms: int
    back_ms: int | None
    purpose: str
    consignee: str | None = None


class BookKey(Row, frozen=True, kw_only=True):
    """A key and the tree sizes over which it speaks.

    ``book_key`` is ``<name>+<key id>``: two keys may bear one name while one takes over from the other.
    """

    book_key: str
    key_name: str
    purpose: str
    verifier: str
    from_size: int
    to_size: int | None


class PlantRules(Row, frozen=True, kw_only=True):
    """The plant's limits from an entry on; of several stated in one entry the last. ``scope`` is always ``plant``."""

    scope: str
    from_size: int
    late_ms: int
    doubtful_ms: int
    density_cap_micro: int
    address: str


class ReleasePolicy(Row, frozen=True, kw_only=True):
    """A release policy of the plant, from an entry on. ``scope`` is always ``plant``; ``address`` is the fact's.

    ``quantities`` is canonical JSON: quantity -> [decision rule, guard band as a multiple of U]; ``undecided_by`` is a comma
    list of roles.
    """

    address: str
    scope: str
    from_size: int
    decision: str
    guard_r: str
    quantities: str
    house: str
    undecided_by: str


class Told(Row, frozen=True, kw_only=True):
    """A standing fact about a node, with its body: not a table, but what a correction folds a node from."""

    node: str
    index: int
    position: int
    fact: Any


class Body(Row, frozen=True, kw_only=True):
    """The standing body of the fact at an address: not a table."""

    address: str
    fact: Any
