"""What of a checklist is met: item by item, counted class by class, and what is missing in sentences.

An item that wants n balls of a class is about the **first n in the order of the draw**, whoever drew more: else the best of
many could be measured and the others left out.  A reading that may not be used counts as none.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

import msgspec

from ledger.conformity.checklist import Checklist, Item
from ledger.line.quantity import QUANTITIES

MOST_NAMED = 6
"""Balls that a sentence names before it counts the rest."""

WORDS = {"pin_to_low_axis": "pin to low-RG axis", "mark_to_high_axis": "high-RG axis mark"}
"""What is said to be missing, where the quantity's own name says it less plainly."""

NOT_STATED = "how many balls are wanted is not stated: write the number into the plant's own checklist"


class SampleBall(msgspec.Struct, frozen=True, kw_only=True):
    """A sample ball: its nominal class in pounds, the quantities whose readings may be used, and those whose may not."""

    ball: str
    weight_class: int
    quantities: frozenset[str] = frozenset()
    unusable: frozenset[str] = frozenset()


class Answered(msgspec.Struct, frozen=True, kw_only=True):
    """What was given for an item: names of papers and fields, photos by name and ball, and whether a statement was."""

    documents: frozenset[str] = frozenset()
    photos: frozenset[tuple[str, str | None]] = frozenset()
    fields: frozenset[str] = frozenset()
    statement: bool = False


class ClassCount(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Balls of a class, or of any where ``weight_class`` is absent: how many are wanted, there, and measured whole."""

    weight_class: int | None = None
    wanted: int | None = None
    drawn: int
    measured: int


class ItemState(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """How an item stands. ``applies`` is false for one of another core; ``missing``: each thing that is, in a sentence."""

    item: str
    text: str
    applies: bool = True
    met: bool
    counts: tuple[ClassCount, ...] = ()
    missing: tuple[str, ...] = ()


class Asked(msgspec.Struct, frozen=True, kw_only=True):
    """What is applied for: weight classes in nominal pounds, and the sort of core."""

    classes: tuple[int, ...] = ()
    core: str = ""


def item_states(
    checklist: Checklist,
    samples: Sequence[SampleBall],
    answered: Mapping[str, Answered] = {},
    asked: Asked = Asked(),  # noqa: B008  # frozen, and made once
) -> tuple[ItemState, ...]:
    """How each item stands, in the checklist's order. ``samples`` in the order of the draw; ``answered`` by item."""
    return tuple(_state(item, samples, answered.get(item.id, Answered()), asked) for item in checklist.items)


def open_items(states: Iterable[ItemState]) -> tuple[str, ...]:
    """The items that are not met, by id, in their order."""
    return tuple(state.item for state in states if not state.met)


def summary(states: Sequence[ItemState]) -> str:
    """All of it in one sentence: how many items are met, and what is missing first."""
    applying = [state for state in states if state.applies]
    met = sum(state.met for state in applying)
    first = next((missing for state in applying for missing in state.missing), "")
    return f"{met} of {len(applying)} items met" + (f"; {first}" if first else "")


def _state(item: Item, samples: Sequence[SampleBall], answered: Answered, asked: Asked) -> ItemState:
    if item.core is not None and asked.core and item.core != asked.core:
        return ItemState(item=item.id, text=item.text, applies=False, met=True)
    missing = [f"{name} is missing" for name in item.documents if name not in answered.documents]
    missing += [f"{name} is not stated" for name in item.fields if name not in answered.fields]
    if item.statement and not answered.statement:
        missing.append(f"{item.statement} is not stated")
    counts: list[ClassCount] = []
    about: list[SampleBall] = []
    if item.of_balls:
        for weight_class in _classes(item, asked):
            balls = [ball for ball in samples if weight_class in (None, ball.weight_class)]
            wanted = item.wanted(weight_class)
            first = balls if wanted is None else balls[:wanted]
            about += first
            whole = [ball for ball in first if ball.quantities.issuperset(item.quantities)]
            counts.append(ClassCount(weight_class=weight_class, wanted=wanted, drawn=len(balls), measured=len(whole)))
            missing += _of_balls(item, counts[-1], first)
    missing += _photos(item, about, answered)
    return ItemState(item=item.id, text=item.text, met=not missing, counts=tuple(counts), missing=tuple(missing))


def _classes(item: Item, asked: Asked) -> tuple[int | None, ...]:
    named = asked.classes if item.each_class else item.classes
    return named or (None,)


def _of_balls(item: Item, count: ClassCount, balls: Sequence[SampleBall]) -> list[str]:
    of = "" if count.weight_class is None else f"{count.weight_class} lb: "
    # A photo alone may be wanted of every ball there is; what is measured on how many has to be said.
    unstated = count.wanted is None and bool(item.quantities or item.classes or item.each_class)
    missing = [f"{of}{NOT_STATED}"] if unstated else []
    wanted = count.wanted or max(1, count.drawn)
    if count.drawn < wanted:
        missing.append(f"{of}{count.drawn} of {wanted} balls drawn")
    if count.measured < len(balls):
        lacks = [told for name in item.quantities for told in _lacking(name, balls)]
        missing.append(f"{of}{count.measured} of {wanted} balls measured; {'; '.join(lacks)}")
    return missing


def _lacking(name: str, balls: Sequence[SampleBall]) -> list[str]:
    word = WORDS.get(name, QUANTITIES[name].name)
    lacking = [ball for ball in balls if name not in ball.quantities]
    unusable = [ball.ball for ball in lacking if name in ball.unusable]
    unread = [ball.ball for ball in lacking if name not in ball.unusable]
    told = [f"{word} missing on {_named(unread)}"] if unread else []
    return told + ([f"{word} not usable on {_named(unusable)}"] if unusable else [])


def _photos(item: Item, balls: Sequence[SampleBall], answered: Answered) -> list[str]:
    if item.photos_of == "file":
        there = {name for name, _ in answered.photos}
        return [f"photo {name} is missing" for name in item.photos if name not in there]
    missing = []
    for name in item.photos:
        lacking = [ball.ball for ball in balls if (name, ball.ball) not in answered.photos]
        if lacking:
            missing.append(f"photo {name} missing of {_named(lacking)}")
    return missing


def _named(balls: Collection[str]) -> str:
    names = list(balls)
    if len(names) > MOST_NAMED:
        return f"{', '.join(names[:MOST_NAMED])} and {len(names) - MOST_NAMED} more"
    return " and ".join([", ".join(names[:-1]), names[-1]]) if len(names) > 1 else names[0]
