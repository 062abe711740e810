"""Trust policies: the examples of C2SP tlog-policy, what they ask of a checkpoint, and files that are none."""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book.checkpoint import check_checkpoint, sign_checkpoint
from ledger.book.merkle import root
from ledger.book.policy import (
    Policy,
    PolicyGroup,
    check_by_policy,
    check_quorum,
    format_policy,
    parse_log_lines,
    parse_policy,
    quorum_of,
    quorum_words,
)
from ledger.book.signing import format_verifier, signer_from_seed
from ledger.book.witness import cosign
from ledger.errors import MalformedInput, SignatureRejected
from tests.book.samples import LOG, NEXT_LOG, ORIGIN, STATION, leaves

NAMES = ("X1", "X2", "X3", "Y1", "Y2", "Y3")
WITNESSES = {
    name: signer_from_seed(f"witness.example/{name}", hashlib.sha256(name.encode()).digest(), "witness")
    for name in NAMES
}
KEYS = {name: format_verifier(signer.verifier) for name, signer in WITNESSES.items()}
LOG_KEY = format_verifier(LOG.verifier)

# C2SP/C2SP tlog-policy.md, "Example policy", with keys in the place of <vkey>.
EXAMPLE = f"""log {LOG_KEY}

witness X1 {KEYS["X1"]}
witness X2 {KEYS["X2"]}
witness X3 {KEYS["X3"]}
group X-witnesses 2 X1 X2 X3

witness Y1 {KEYS["Y1"]}
witness Y2 {KEYS["Y2"]}
witness Y3 {KEYS["Y3"]}
group Y-witnesses any Y1 Y2 Y3

group X-and-Y all X-witnesses Y-witnesses
quorum X-and-Y
"""


def signed_by(names: Iterator[str] | tuple[str, ...], size: int = 8) -> bytes:
    """A checkpoint that these witnesses signed too."""
    note = sign_checkpoint(ORIGIN, size, root(leaves(size)), [LOG])
    return note + b"".join(cosign(note, WITNESSES[name], 1_764_046_800) for name in names)


def test_the_example_of_the_standard_is_read() -> None:
    """A log, six witnesses in two groups, and the group of groups that is the quorum."""
    policy = parse_policy(EXAMPLE.encode())
    assert (ORIGIN, NAMES) == (policy.logs[0].verifier.name, tuple(one.name for one in policy.witnesses))
    assert (
        PolicyGroup("X-witnesses", 2, ("X1", "X2", "X3")),
        PolicyGroup("Y-witnesses", 1, ("Y1", "Y2", "Y3")),
        PolicyGroup("X-and-Y", 2, ("X-witnesses", "Y-witnesses")),
    ) == policy.groups
    assert "2 of (2 of (X1, X2, X3), 1 of (Y1, Y2, Y3))" == quorum_words(policy)


@pytest.mark.parametrize("names", [names for n in range(7) for names in itertools.combinations(NAMES, n)])
def test_the_example_asks_for_two_of_x_and_one_of_y(names: tuple[str, ...]) -> None:
    """Each of the 64 sets of witnesses comes out as the text of the standard says."""
    policy = parse_policy(EXAMPLE.encode())
    enough = sum(name[0] == "X" for name in names) >= 2 and any(name[0] == "Y" for name in names)
    if enough:
        assert 8 == check_by_policy(signed_by(names), policy, ORIGIN).tree_size
        return
    with pytest.raises(SignatureRejected, match="quorum of witnesses is not reached"):
        check_by_policy(signed_by(names), policy, ORIGIN)


def test_one_witness_and_none_are_quorums() -> None:
    """The simplest case names a witness; ``none`` asks for no cosignature, and then there need be no witness."""
    one = parse_policy(f"log {LOG_KEY}\nwitness w {KEYS['X1']} https://w.example/\nquorum w\n".encode())
    none = parse_policy(f"log {LOG_KEY}\nquorum none\n".encode())
    assert ("https://w.example/", "w", "no witness") == (one.witnesses[0].url, quorum_words(one), quorum_words(none))
    assert check_by_policy(signed_by(()), none) == check_checkpoint(signed_by(()), [LOG.verifier])
    with pytest.raises(SignatureRejected):
        check_by_policy(signed_by(("X2",)), one)


def test_a_policy_without_logs_takes_the_keys_given() -> None:
    """Where the log is known from elsewhere its key is given; without one no checkpoint is valid."""
    policy = parse_policy(f"witness w {KEYS['X1']}\nquorum w\n".encode())
    assert check_by_policy(signed_by(("X1",)), policy, log_keys=[LOG.verifier]).cosignatures
    with pytest.raises(SignatureRejected):
        check_by_policy(signed_by(("X1",)), policy)


def test_any_log_of_the_policy_is_accepted() -> None:
    """While a key is rotated both are listed, and a checkpoint by either one counts."""
    policy = parse_policy(f"log {LOG_KEY}\nlog {format_verifier(NEXT_LOG.verifier)}\nquorum none\n".encode())
    for signer in (LOG, NEXT_LOG):
        assert check_by_policy(sign_checkpoint(ORIGIN, 8, root(leaves(8)), [signer]), policy).tree_size == 8


def test_blanks_comments_and_other_octets_are_as_the_standard_has_them() -> None:
    """Spaces and tabs in front, behind and between; comments; names of octets that are no UTF-8, and a Kelvin sign."""
    text = (
        b"\n \t# a comment \xff\n\tlog  " + LOG_KEY.encode() + b" \t https://\xc3\xa4.example \n"
        b"witness \xff\xfe " + KEYS["X1"].encode() + b"\nwitness K " + KEYS["X2"].encode() + b"\n"
        b"witness \xe2\x84\xaa " + KEYS["X3"].encode() + b"\ngroup \xa0 2 \xff\xfe K\nquorum \xa0\n"
    )
    policy = parse_policy(text)
    assert (policy, "\udca0") == (parse_policy(format_policy(policy)), policy.quorum)
    assert quorum_of(policy, [WITNESSES["X1"].verifier, WITNESSES["X2"].verifier]).reached
    assert not quorum_of(policy, [WITNESSES["X1"].verifier, WITNESSES["X3"].verifier]).reached
    quorum_words(policy).encode()


def test_words_of_the_grammar_may_be_names() -> None:
    """Only ``none`` is predefined: a witness may be called any, and a group quorum."""
    text = f"witness any {KEYS['X1']}\nwitness log {KEYS['X2']}\ngroup quorum all any log\nquorum quorum\n"
    assert 2 == parse_policy(text.encode()).groups[0].threshold


def test_a_witness_that_is_left_out_counts_as_none() -> None:
    """What a witness beside the book signed does not reach the quorum."""
    policy = parse_policy(EXAMPLE.encode())
    signed = [WITNESSES[name].verifier for name in ("X1", "X2", "Y1")]
    assert (True, False) == (quorum_of(policy, signed).reached, quorum_of(policy, signed, leaving_out={"X2"}).reached)
    assert ("X1", "Y1") == quorum_of(policy, signed, leaving_out={"X2"}).witnessed


def test_a_cosignature_by_a_witness_that_is_not_named_is_nothing() -> None:
    """A key that the policy does not list adds nothing, and two lines of one witness count once."""
    policy = parse_policy(f"witness w {KEYS['X1']}\nwitness v {KEYS['Y1']}\ngroup g 2 w v\nquorum g\n".encode())
    note = signed_by(("X1", "X1", "X2", "X3"))
    with pytest.raises(SignatureRejected, match="got w"):
        check_quorum(check_checkpoint(note, [LOG.verifier, *policy.verifiers()]), policy)


W = f"witness w {KEYS['X1']}\n"
BAD = {
    "no quorum": f"log {LOG_KEY}\n",
    "empty": "",
    "two quorums": f"{W}quorum w\nquorum none\n",
    "quorum before its witness": f"quorum w\n{W}",
    "unknown quorum": "quorum w\n",
    "no newline": f"{W}quorum w",
    "unknown word": "logs x\nquorum none\n",
    "capital": f"LOG {LOG_KEY}\nquorum none\n",
    "comment behind": "quorum none # really\n",
    "no key": "log\nquorum none\n",
    "too many words of a log": f"log {LOG_KEY} https://x more\nquorum none\n",
    "too many words of a witness": f"witness w {KEYS['X1']} https://x more\nquorum none\n",
    "witness without name": f"witness {KEYS['X1']}\nquorum none\n",
    "witness named none": f"witness none {KEYS['X1']}\nquorum none\n",
    "group named none": f"{W}group none 1 w\nquorum none\n",
    "none in a group": f"{W}group g any none\nquorum g\n",
    "name twice": f"{W}witness w {KEYS['X2']}\nquorum w\n",
    "group named as a witness": f"{W}group w 1 w\nquorum w\n",
    "witness key twice": f"{W}witness v {KEYS['X1']}\nquorum w\n",
    "log key twice": f"log {LOG_KEY}\nlog {LOG_KEY}\nquorum none\n",
    "log's key as a witness": f"log {LOG_KEY}\nwitness w "
    + format_verifier(signer_from_seed("w", hashlib.sha256(b"log key of the tests").digest(), "witness").verifier)
    + "\nquorum w\n",
    "log with a witness's key": f"log {KEYS['X1']}\nquorum none\n",
    "witness with a log's key": f"witness w {format_verifier(STATION.verifier)}\nquorum w\n",
    "no key at all": "witness w w+12345678+AAAA\nquorum w\n",
    "member twice": f"{W}group g 1 w w\nquorum g\n",
    "member of two groups": f"{W}group g 1 w\ngroup h 1 w\nquorum h\n",
    "member below": f"group g 1 w\n{W}quorum g\n",
    "group of itself": f"{W}group g 1 g\nquorum g\n",
    "group without members": f"{W}group g 1\nquorum w\n",
    "threshold of 0": f"{W}group g 0 w\nquorum g\n",
    "threshold above the members": f"{W}group g 2 w\nquorum g\n",
    "threshold with a sign": f"{W}group g +1 w\nquorum g\n",
    "threshold with a zero": f"{W}group g 01 w\nquorum g\n",
    "threshold in other digits": f"{W}group g \u0661 w\nquorum g\n",
    "carriage return": f"{W}quorum w\r\n",
    "form feed as a blank": f"{W}quorum\x0cw\n",
    "delete": f"{W}quorum w\x7f\n",
    "no-break space as a blank": f"{W}quorum\u00a0w\n",
    "too long": "#" * 100_001 + "\nquorum none\n",
    "too many groups": W + "".join(f"group g{n} 1 {f'g{n - 1}' if n else 'w'}\n" for n in range(300)) + "quorum w\n",
}


@pytest.mark.parametrize("name", BAD)
def test_what_breaks_the_form_is_refused(name: str) -> None:
    """Each with the line where there is one, and nothing but this project's error."""
    with pytest.raises(MalformedInput) as caught:
        parse_policy(BAD[name].encode())
    str(caught.value).encode()


def test_the_line_is_named() -> None:
    """Comments and empty lines are counted."""
    with pytest.raises(MalformedInput, match="policy line 4: member is not defined above: got v"):
        parse_policy(f"# first\n\n{W}group g 1 v\nquorum g\n".encode())


@given(st.binary(max_size=60).map(lambda raw: raw + b"\nquorum none\n") | st.binary(max_size=200))
def test_any_octets_are_a_policy_or_are_refused(raw: bytes) -> None:
    """Arbitrary octets raise this project's error alone, with text that can be printed."""
    try:
        policy = parse_policy(raw)
    except MalformedInput as error:
        str(error).encode()
    else:
        assert policy == parse_policy(format_policy(policy))


def test_a_long_chain_of_groups_is_read_and_counted() -> None:
    """As many groups as may be, each of the one before: depth costs nothing."""
    chain = W + "".join(f"group g{n} 1 {f'g{n - 1}' if n else 'w'}\n" for n in range(256)) + "quorum g255\n"
    policy = parse_policy(chain.encode())
    assert quorum_of(policy, [WITNESSES["X1"].verifier]).reached
    assert not quorum_of(policy, []).reached


def test_a_file_of_logs_is_what_a_witness_knows() -> None:
    """Log lines and comments, several keys of one origin; any other line is refused."""
    text = f"# plants\nlog {LOG_KEY}\nlog {format_verifier(NEXT_LOG.verifier)} https://book.example/\n"
    assert [LOG.verifier, NEXT_LOG.verifier] == [log.verifier for log in parse_log_lines(text.encode())]
    assert () == parse_log_lines(b"")
    with pytest.raises(MalformedInput, match="policy line 4"):
        parse_log_lines(f"{text}quorum none\n".encode())


def test_the_empty_policy_asks_for_nothing() -> None:
    """Without a policy file the quorum is ``none``."""
    assert quorum_of(Policy(), []).reached
