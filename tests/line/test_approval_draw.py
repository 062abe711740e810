"""The drawing rule: a function of candidates and seed, a seed that a receipt alone gives, and figures that bind the candidates."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.merkle import leaf_hash, prove_inclusion, root
from ledger.errors import InclusionFailed, RuleStands
from ledger.line.approval_draw import (
    Candidate,
    candidate_counts,
    candidate_list,
    check_draw,
    draw_order,
    draw_samples,
    next_drawn,
    root_at,
    sample_seed,
)
from ledger.line.lot_changes import balls_root

UNITS = st.from_regex(r"[A-Z][0-9]{1,3}", fullmatch=True)
SEEDS = st.binary(min_size=32, max_size=32).map(bytes.hex)
BALLS = st.lists(
    st.builds(Candidate, st.sampled_from([14, 15]), UNITS, UNITS), unique_by=lambda one: one.unit, max_size=20
)


def in_class(balls: list[Candidate], weight_class: int) -> set[str]:
    """The units of a class."""
    return {one.unit for one in balls if one.weight_class == weight_class}


@given(BALLS, SEEDS, st.randoms(use_true_random=False))
def test_the_order_of_the_candidates_does_not_matter(
    balls: list[Candidate], seed: str, chance: Callable[..., None]
) -> None:
    """A shuffled list gives the same draw, the same counts and the same file."""
    shuffled = list(balls)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]  # a random.Random
    wanted = {weight_class: len(in_class(balls, weight_class)) for weight_class in (14, 15)}
    assert draw_samples(balls, wanted, seed) == draw_samples(shuffled, wanted, seed)
    assert candidate_counts(balls) == candidate_counts(shuffled)
    assert candidate_list(balls) == candidate_list(shuffled)


@given(BALLS, SEEDS, st.integers(0, 5))
def test_a_larger_draw_begins_with_the_smaller(balls: list[Candidate], seed: str, fewer: int) -> None:
    """Every ball that is drawn is a candidate of its class, and a replacement goes on where the draw ended."""
    inside = in_class(balls, 15)
    whole = draw_samples(balls, {15: len(inside)}, seed)[15]
    some = draw_samples(balls, {15: max(len(inside) - fewer, 0)}, seed)[15]
    assert (inside, some) == (set(whole), whole[: len(some)])
    assert list(whole[len(some) :]) == next_drawn(inside, seed, some)


@given(st.sets(UNITS, min_size=3), SEEDS)
def test_the_order_is_the_one_that_is_stated(units: set[str], seed: str) -> None:
    """By SHA-256 over tag, seed and unit: worked out here anew."""
    tag = b"pourbook/sample-order/1\n"
    keyed = {unit: hashlib.sha256(tag + bytes.fromhex(seed) + unit.encode()).hexdigest() for unit in units}
    assert sorted(units, key=keyed.__getitem__) == draw_order(units, seed)


def test_a_draw_of_three_among_six_as_worked_by_hand() -> None:
    """Fixed for ever: the seed of 32 zero bytes as a root, and the balls that it draws, as `sha256sum` orders them."""
    seed = hashlib.sha256(b"pourbook/sample-seed/1\n" + bytes(32)).hexdigest()
    assert seed == sample_seed(bytes(32))
    balls = [Candidate(15, f"U-{number}", f"S{number}") for number in range(1, 7)]
    assert ("U-5", "U-2", "U-1") == draw_samples(balls, {15: 3}, seed)[15]


def test_another_seed_gives_another_draw() -> None:
    """And over many seeds each of ten balls is drawn about as often as any other: 3 of 10, 2,000 times."""
    balls = [Candidate(15, f"U-{number}", f"S{number}") for number in range(10)]
    drawn = dict.fromkeys((one.unit for one in balls), 0)
    for number in range(2_000):
        for unit in draw_samples(balls, {15: 3}, hashlib.sha256(b"%d" % number).hexdigest())[15]:
            drawn[unit] += 1
    # 600 expected, standard deviation 20.5: five of them, and the seeds are fixed.
    assert all(abs(times - 600) < 103 for times in drawn.values())


@given(BALLS, SEEDS, st.data())
def test_a_ball_put_in_another_place_is_found(balls: list[Candidate], seed: str, data: st.DataObject) -> None:
    """The draw checks as it is; with two balls in each other's place it does not."""
    said = {weight_class: list(draw_order(in_class(balls, weight_class), seed)) for weight_class in (14, 15)}
    check_draw(balls, said, seed)
    if len(said[15]) > 1:
        one, other = data.draw(st.lists(st.integers(0, len(said[15]) - 1), min_size=2, max_size=2, unique=True))
        said[15][one], said[15][other] = said[15][other], said[15][one]
        with pytest.raises(RuleStands, match="not the one that the seed draws"):
            check_draw(balls, said, seed)


def test_too_few_candidates_are_said() -> None:
    """Class, how many are wanted, and how many there are."""
    with pytest.raises(RuleStands, match="15 lb has too few") as refused:
        draw_samples([Candidate(14, "U-1", "S1")], {15: 1}, "0" * 64)
    assert ("1 balls", 0) == (refused.value.expected, refused.value.got)


@given(st.lists(st.binary(max_size=4), min_size=1, max_size=40), st.data())
def test_any_receipt_of_an_entry_gives_the_tree_that_ends_with_it(leaves: list[bytes], data: st.DataObject) -> None:
    """Whatever the size that the receipt is against: the root is that of the leaves up to the entry."""
    hashes = [leaf_hash(leaf) for leaf in leaves]
    index = data.draw(st.integers(0, len(hashes) - 1))
    size = data.draw(st.integers(index + 1, len(hashes)))
    proof = prove_inclusion(hashes, index, size)
    assert root(hashes[: index + 1]) == root_at(hashes[index], index, size, proof)
    with pytest.raises(InclusionFailed):
        root_at(hashes[index], index, size, [*proof, bytes(32)])
    if proof:
        with pytest.raises(InclusionFailed):
            root_at(hashes[index], index, size, proof[:-1])


def test_a_root_of_no_tree_is_refused() -> None:
    """An index outside the tree, and a root of another length."""
    for index, size in ((3, 3), (-1, 2)):
        with pytest.raises(InclusionFailed):
            root_at(bytes(32), index, size, [])
    with pytest.raises(InclusionFailed):
        sample_seed(bytes(31))


@given(BALLS)
def test_the_roots_are_those_of_a_closed_lot(balls: list[Candidate]) -> None:
    """The leaf of a candidate is the leaf that its ball has when its lot is closed."""
    for weight_class, found in candidate_counts(balls).items():
        inside = [one for one in balls if one.weight_class == weight_class]
        assert (len(inside), balls_root((one.unit, one.serial) for one in inside)) == (found.balls, found.root)
