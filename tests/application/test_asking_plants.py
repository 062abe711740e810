"""Plants asked at once: what counts as an answer, and what is told where there is none. The senders are scripted."""

from __future__ import annotations

import msgspec
import pytest

from ledger.application.asking_plants import Answered, Unanswered, ask_plants, heads_of, whole_number
from ledger.application.public import PublicAnswer
from ledger.book.checkpoint import sign_checkpoint
from ledger.book.policy import Policy, PolicyGroup, PolicyWitness
from ledger.book.witness import add_cosignatures, cosign
from ledger.duties.witness_talk import Answer, Unreached
from ledger.errors import TooLarge
from ledger.evidence.plant_heads import PlantHead, without_common
from ledger.line.serial import serial_at
from ledger.tracing.plants import Plant, parse_plants
from ledger.tracing.whose_serial import whose_serial
from ledger.warranty.partial_serial import guesses, parse_pattern
from ops.commands.directory import head_lines, is_whole
from tests.tracing.plant_files import GTIN, directory, https_alone, key_of, plant_table
from tests.witnesses import witness_key

NAMES = ("north", "south", "east", "west")
PLANTS = parse_plants(
    directory(*(plant_table(name, "own = true", gtins="" if name == "west" else f'["{GTIN}"]') for name in NAMES)),
    "plants.toml",
    https_alone,
)
OWN = serial_at(5, bytes(16))
X1, X2 = witness_key("x1"), witness_key("x2")
POLICY = Policy(
    witnesses=(PolicyWitness("X1", X1.verifier), PolicyWitness("X2", X2.verifier)),
    groups=(PolicyGroup("all", 1, ("X1", "X2")),),
    quorum="all",
)


class Scripted:
    """Answers by address; an address that is not in the script is one where nothing answers."""

    def __init__(self, script: dict[str, Answer]) -> None:
        """``script``: what stands at each address."""
        self.script = script

    def __call__(self, method: str, url: str, body: bytes = b"", media: str = "") -> Answer | Unreached:  # noqa: ARG002  # as `Send` has it
        """What the script has, told as unreached where it has nothing."""
        return self.script.get(url, Unreached("it cannot be reached in time"))


def page(serial: str, *, issued: bool) -> bytes:
    """A public page of a plant, as JSON."""
    statement = "number issued by us" if issued else "unknown number"
    return msgspec.json.encode(
        {"answer": PublicAnswer(issued=issued, statement=statement, serial=serial), "gtin": GTIN}
    )


def note(plant: str, size: int, *witnesses: tuple[object, int], root: bytes = b"\x01" * 32) -> bytes:
    """A head of a plant's book, cosigned at the seconds given."""
    signed = sign_checkpoint(f"{plant}.test/book", size, root, [key_of(plant)])
    for witness, at in witnesses:
        signed = add_cosignatures(signed, cosign(signed, witness, at))  # type: ignore[arg-type]  # a signer
    return signed


def test_every_plant_is_named_with_its_own_answer() -> None:
    """One plant knows the number, one does not, one is silent, one has no product: four lines, no verdict."""
    link = f"/01/{GTIN}/21/{OWN}"
    send = Scripted(
        {
            f"https://north.test{link}": Answer(200, "application/json", page(OWN, issued=True)),
            f"https://south.test{link}": Answer(200, "application/json", page(OWN, issued=False)),
        }
    )
    told = ask_plants(whose_serial(PLANTS, parse_pattern(OWN)), send)
    assert [True, False] == [one.answer.issued for one in told if isinstance(one, Answered)]
    silent = [(one.plant.id, one.why) for one in told if isinstance(one, Unanswered)]
    assert ("east", "it cannot be reached in time") == silent[0]
    assert ("west", True) == (silent[1][0], silent[1][1].startswith("not asked: the directory lists none"))


@pytest.mark.parametrize(
    ("answer", "why"),
    [
        (Answer(429, "application/json", b"{}"), "status 429"),
        (Answer(200, "text/html", b"<p>"), "none of a book's service"),
        (Answer(200, "application/json", b"\xff"), "none of a book's service"),
        (Answer(200, "application/json", page(serial_at(6, bytes(16)), issued=True)), "about another number"),
    ],
)
def test_answer_that_is_none_is_told(answer: Answer, why: str) -> None:
    """Another status, another form and another number are no answer, and it is said which."""
    found = whose_serial(PLANTS[:1], parse_pattern(OWN))
    (told,) = ask_plants(found, Scripted({f"https://north.test/01/{GTIN}/21/{OWN}": answer}))
    assert isinstance(told, Unanswered)
    assert why in told.why


def test_half_worn_number_is_asked_for_only_where_the_check_gives_it() -> None:
    """One unread place of an own number is solved for; two are not asked for, nor one of another scheme."""
    one, two = f"?{OWN[1:]}", f"??{OWN[2:]}"
    assert OWN == whole_number(guesses(parse_pattern(one), alike=False)[0])
    assert whole_number(guesses(parse_pattern(two), alike=False)[0]) is None
    (told,) = ask_plants(whose_serial(PLANTS[:1], parse_pattern(two), alike=False), Scripted({}))
    assert isinstance(told, Unanswered)
    assert told.why.startswith("not asked: a place is not read")


def test_too_many_products_are_refused() -> None:
    """A number that would be asked for under more than 500 products is refused with what narrows it."""
    many = PLANTS[0]._replace(gtins=(GTIN,) * 501)
    with pytest.raises(TooLarge, match="at most 500"):
        ask_plants(whose_serial([many], parse_pattern(OWN)), Scripted({}))


def looked(plant: Plant, head: bytes, published: bytes | None) -> PlantHead | Unanswered:
    """What is made of what a plant shows."""
    shown = Answer(404, "", b"") if published is None else Answer(200, "text/plain", published)
    at = plant.address
    script = {f"{at}/checkpoint": Answer(200, "text/plain", head), f"{at}/checkpoint/published": shown}
    return heads_of([plant], Scripted(script), POLICY)[0]


@pytest.mark.parametrize(
    ("head", "published", "why"),
    [
        (note("south", 9), None, "no signature"),
        (note("north", 3), note("north", 4), "checkpoint is too small"),
        (note("north", 4), note("north", 4, root=b"\x02" * 32), "two roots"),
        (b"?", None, "its checkpoint does not check"),
    ],
)
def test_head_that_does_not_check_is_told(head: bytes, published: bytes | None, why: str) -> None:
    """Another book's key, a head behind what was published, two roots at one size and no note at all are told."""
    told = looked(PLANTS[0], head, published)
    assert isinstance(told, Unanswered)
    assert why in told.why


def test_plants_that_share_no_witness_are_told() -> None:
    """Two plants signed by two witnesses each by one are a pair apart; one signed by both is apart from none."""
    heads = [
        looked(PLANTS[0], note("north", 9), note("north", 7, (X1, 1_000))),
        looked(PLANTS[1], note("south", 8), note("south", 8, (X2, 4_000))),
        looked(PLANTS[2], note("east", 8), note("east", 6, (X1, 4_000), (X2, 3_940))),
        looked(PLANTS[3], note("west", 5), None),
    ]
    checked = [head for head in heads if isinstance(head, PlantHead)]
    assert [("north", "south")] == [(one.id, other.id) for one, other in without_common(checked)]
    assert [("X1",), ("X2",), ("X1", "X2"), ()] == [head.witnesses for head in checked]
    lines = list(head_lines(heads, POLICY, 4_060))
    assert "north: 9 entries, signed by its own key; published at 7, signed by X1, last 51 min ago" == lines[0]
    assert lines[2].endswith("signed by X1, X2, last 60 s ago")
    assert lines[3].endswith("none published, so no witness signed it")
    assert "  no witness in common: north and south" in lines
    assert [False, True, False] == [is_whole(heads, POLICY), is_whole(heads[1:3], POLICY), is_whole(heads[3:], POLICY)]
