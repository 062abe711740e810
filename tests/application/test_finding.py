"""Which ball is it: candidates with what tells them apart, in the order of likelihood, and never a silent guess."""

from __future__ import annotations

import pytest

from ledger.application import finding
from ledger.application.finding import Asked, FoundBalls, find_balls, is_quick
from ledger.errors import LedgerError, MalformedInput, MalformedLink, TooLarge
from ledger.store import serial_search
from ledger.store.reader import open_reader
from tests.application.floor import GTIN, Floor, at, engraved


def find(floor: Floor, **asked: object) -> FoundBalls:
    """The answer to what is known of a ball."""
    with open_reader(floor.book.store) as reader:
        return find_balls(reader, Asked(**asked))  # type: ignore[arg-type]  # the fields of a question


def refused(floor: Floor, **asked: object) -> LedgerError:
    """The error that a question is refused with."""
    with pytest.raises(LedgerError) as refusal:
        find(floor, **asked)
    return refusal.value


@pytest.fixture
def own(ready: Floor) -> list[str]:
    """Three numbers of the own scheme: on U-1, on U-2, and allotted to no ball yet."""
    serials = list(ready.book.allot_serials("E-1", 3, "allot", ready.lead).serials)
    ready.say(engraved("U-1", serials[0], scheme="own"), engraved("U-2", serials[1], scheme="own", weight_class=14))
    return serials


def test_a_number_as_read(ready: Floor, own: list[str]) -> None:
    """One ball bears it: model, colours, class, day, state; nothing is guessed, so there is no caution."""
    found = find(ready, serial=own[0].lower())
    (ball,) = found.balls

    assert (1, ("1 ball bears or bore the number as read",), ()) == (found.count, found.says, found.cautions)
    assert ("U-1", "as read", "1", ("green",), "M1", "Model M1", 15, "2026-09-24", "engraved") == (
        ball.unit, ball.how, ball.share, ball.colours, ball.model, ball.model_name, ball.weight_class_lb, ball.made_on,
        ball.state,
    )  # fmt: skip
    assert ((), own[0], True) == (ball.differs, ball.bears, ball.own_scheme)


def test_a_number_with_unread_places_says_which(ready: Floor, own: list[str]) -> None:
    """The one ball that fits is no certainty: the answer says which places were not read, and what they are on it."""
    found = find(ready, serial=f"{own[0][:2]}?{own[0][3:6]}?{own[0][7:]}")
    (ball,) = found.balls

    assert "1 ball of this book fits what was read; places 3 and 7 were not read" == found.says[0]
    assert ("fits what was read", [(3, "", own[0][2]), (7, "", own[0][6])]) == (
        ball.how,
        [(one.place, one.read, one.bears) for one in ball.differs],
    )
    assert any("each as likely" in caution for caution in found.cautions)


def test_one_ball_by_a_look_alike_is_told_as_that(ready: Floor) -> None:
    """No ball bears the number as read; one does if place 3 was a 3 read as 8: both are said."""
    ready.say(engraved("U-1", "AB3777"))
    found = find(ready, serial="AB8777")
    (ball,) = found.balls

    assert ("no ball bears the number as read", "1 ball if place 3 was a 3 read as 8") == found.says
    assert ("by look-alike", ("if place 3 was a 3 read as 8",)) == (ball.how, ball.says)
    assert any("common practice, no source" in caution for caution in found.cautions)
    assert 0 == find(ready, serial="AB8777", alike=False).count


def test_balls_come_in_the_order_of_likelihood(ready: Floor) -> None:
    """As read, then by an often confused character, then by a seldom one; the shares fall and add up to one."""
    ready.say(engraved("U-1", "X60"), engraved("U-2", "X50"), engraved("U-3", "XG0"), engraved("U-4", "XGD"))
    found = find(ready, serial="X60")

    assert ["U-1", "U-3", "U-2", "U-4"] == [ball.unit for ball in found.balls]
    shares = [float(ball.share) for ball in found.balls]
    assert sorted(shares, reverse=True) == shares
    assert 1 == pytest.approx(sum(shares), abs=0.005)
    assert "3 balls by look-alikes, likeliest if place 2 was a G read as 6" == found.says[1]


def test_a_repeated_prior_number_gives_every_ball_and_dates_tell_them_apart(ready: Floor) -> None:
    """Numbers of earlier schemes repeat: all come back, the newer first, until a day or a class narrows them."""
    ready.say(engraved("U-1", "P-1", 70), engraved("U-2", "P-1", 170, weight_class=14))
    found = find(ready, serial="P-1")

    assert ["U-2", "U-1"] == [ball.unit for ball in found.balls]
    assert "2 balls bear or bore the number as read: numbers of earlier schemes repeat" == found.says[0]
    first, second = (ball.made_on for ball in reversed(found.balls))
    assert ["U-1"] == [ball.unit for ball in find(ready, serial="P-1", made_to=first).balls]
    assert ["U-2"] == [ball.unit for ball in find(ready, serial="P-1", made_from=second, made_to=second).balls]
    assert ["U-2"] == [ball.unit for ball in find(ready, serial="P-1", weight_class=14).balls]
    assert [] == list(find(ready, serial="P-1", model="M2").balls)


def test_a_former_number_leads_to_the_ball(ready: Floor) -> None:
    """A number that was engraved over finds the ball, and says until when, and what it bears now."""
    ready.say(engraved("U-1", "P-1"))
    anew = {"kind": "ball-engraved-anew", "at": at(80), "unit": "U-1", "serial": "P-2", "station": "E-1"}
    ready.say({**anew, "reason": "cut-badly", "scheme": "prior"})
    (ball,) = find(ready, serial="P-1").balls

    assert ("P-1", "P-2", at(80)[:19], ("P-2",)) == (ball.serial, ball.bears, ball.until[:19], ball.other_numbers)
    assert any("bears P-2 now" in said for said in ball.says)


def test_a_scanned_label_is_taken_as_it_is(ready: Floor, own: list[str]) -> None:
    """The address of a label finds its ball and no look-alike; another GTIN than the model's is told."""
    scanned = find(ready, serial=f"https://id.example.com/01/{GTIN}/21/{own[0]}")
    other = find(ready, serial=f"https://id.example.com/01/00012345678905/21/{own[0]}")

    assert [("as read", ())] == [(ball.how, ball.says) for ball in scanned.balls]
    assert (f"the label is of GTIN 00012345678905, and this ball's model has {GTIN}",) == other.balls[0].says
    assert isinstance(refused(ready, serial=f"https://id.example.com/01/{GTIN}/10/SL-1"), MalformedLink)


def test_a_number_that_was_allotted_and_is_on_no_ball(ready: Floor, own: list[str]) -> None:
    """The number was given to a station, and no ball bears it yet."""
    found = find(ready, serial=own[2])
    assert (0, (own[2],)) == (found.count, found.allotted)


def test_an_own_number_with_a_wrong_check_character(ready: Floor, own: list[str]) -> None:
    """At least one place is misread, and the answer says so."""
    wrong = ("2" if own[0][0] != "2" else "4") + own[0][1:]
    assert any("check character does not fit" in said for said in find(ready, serial=wrong).says)


def test_by_prefix_and_by_range(ready: Floor) -> None:
    """Numbers that begin alike, or lie between two, in their order; days of making and the model narrow them."""
    ready.say(*(engraved(f"U-{n}", f"P{n:03d}", 70 + 24 * n) for n in range(12)))
    prefix = find(ready, prefix="P00", listed=4)

    assert (10, ["P000", "P001", "P002", "P003"]) == (prefix.count, [ball.serial for ball in prefix.balls])
    assert ("10 balls bear or bore such a number", "the first 4 are listed") == prefix.says
    assert ["P009", "P010", "P011"] == [ball.serial for ball in find(ready, first="P009", last="P011").balls]
    day = prefix.balls[2].made_on
    assert ["P002"] == [ball.serial for ball in find(ready, prefix="P", made_from=day, made_to=day).balls]
    assert 0 == find(ready, prefix="P", model="M2").count


def test_too_many_unread_places_are_searched_by_the_first_ones_or_the_model(
    ready: Floor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What cannot be enumerated is read from the index, within its limit; beyond it the model and days narrow."""
    ready.say(
        engraved("U-1", "P12345"), engraved("U-2", "PA2B45"), engraved("U-3", "PA2B455"), engraved("U-4", "Q12345")
    )
    found = find(ready, serial="P?????")

    assert ["U-1", "U-2"] == sorted(ball.unit for ball in found.balls)
    assert "numbers of earlier schemes were searched for without look-alikes" in found.says
    error = refused(ready, serial="??2???")
    assert (TooLarge.code, "serial") == (error.code, error.where)
    assert "made_from" in error.mend
    assert ["U-1", "U-2", "U-4"] == sorted(ball.unit for ball in find(ready, serial="??2?4?", model="M1").balls)
    monkeypatch.setattr(serial_search, "MOST_READ", 2)
    assert isinstance(refused(ready, serial="P?????"), TooLarge)
    assert isinstance(refused(ready, serial="P?????", model="M1"), TooLarge)
    assert isinstance(refused(ready, prefix="P"), TooLarge)
    assert isinstance(refused(ready, first="A", last="Z"), TooLarge)
    assert 2 == find(ready, prefix="P1", model="M1").count + find(ready, prefix="Q").count


def test_a_number_that_is_ours_though_an_earlier_scheme_cannot_be_searched(ready: Floor, own: list[str]) -> None:
    """Three unread places of nine: the own scheme is searched in full, and what was not is said."""
    found = find(ready, serial=f"???{own[0][3:]}")
    assert ["U-1"] == [ball.unit for ball in found.balls]
    assert any("earlier schemes were not searched" in said for said in found.says)


def test_the_rarer_look_alikes_give_way_where_too_many_numbers_would_be_looked_up(ready: Floor) -> None:
    """It says how many of the readings were searched."""
    ready.say(engraved("U-1", "B13850"))
    found = find(ready, serial="?1385?")
    assert ["U-1"] == [ball.unit for ball in found.balls]
    assert any("rarer look-alikes were not searched" in said for said in found.says)


def test_a_question_is_asked_in_one_way(ready: Floor) -> None:
    """None, two, and half a range are refused; so is a date that is none."""
    for asked in ({}, {"serial": "A", "prefix": "B"}, {"first": "A"}, {"serial": "A", "last": "B"}):
        assert isinstance(refused(ready, **asked), MalformedInput)
    assert "made_to" == refused(ready, serial="A", made_to="2026-02-30").where


def test_a_question_of_look_ups_alone_is_quick() -> None:
    """Two unread places of an earlier scheme are looked up; three, a prefix and a range are read from the index."""
    assert [True, True, False, False, False] == [
        is_quick(Asked(serial="P?3?5")),
        is_quick(Asked(serial="https://id.example.com/01/09521234543213/21/A")),
        is_quick(Asked(serial="P???5")),
        is_quick(Asked(prefix="P")),
        is_quick(Asked(first="P", last="Q")),
    ]
    assert finding.MOST_LOOKED_UP >= 36**2
