"""A ball tells which approval files it was drawn for, and what became of it there."""

from __future__ import annotations

from ledger.application.approving import Replace
from ledger.application.ball_samples import SampleOf
from ledger.line.approval_draw import draw_order
from tests.application.approved import BALLS, desk, drawn_file, samples, view
from tests.application.floor import Floor


def told(floor: Floor, unit: str) -> tuple[SampleOf, ...]:
    """What the ball's view says."""
    found: tuple[SampleOf, ...] = floor.book.ball(unit).sample_of
    return found


def test_a_sample_names_its_file(ready: Floor) -> None:
    """File, its state, the body, and the fact of the draw; a ball that was not drawn names none."""
    drawn_file(ready)
    line = view(ready).page.samples[0]

    [sample] = told(ready, line.unit)

    assert ("AF-1", "open", "body-a", "in", "") == (
        sample.file, sample.file_state, sample.body, sample.state, sample.out,
    )  # fmt: skip
    assert sample.fact in {fact.fact for fact in view(ready).history}
    assert {()} == {told(ready, unit) for unit in set(BALLS) - set(samples(ready))}


def test_a_replaced_sample_and_one_passed_over_stay(ready: Floor) -> None:
    """Each says so, with the fact by which it is none any more; the ball that took the place is one."""
    drawn_file(ready)
    order = draw_order(BALLS, str(view(ready).page.announcements[0].seed))
    desk(ready).replace("AF-1", Replace(order[0], "dropped", {order[3]: "sold"}), "replace", ready.lead).result(30)

    states = {unit: one.state for unit in BALLS for one in told(ready, unit)}

    assert {order[0]: "replaced", order[3]: "passed-over"} == {
        unit: state for unit, state in states.items() if state != "in"
    }
    assert set(samples(ready)) == {unit for unit, state in states.items() if state == "in"}
    assert all(one.out for unit in (order[0], order[3]) for one in told(ready, unit))
