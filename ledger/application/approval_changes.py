"""Changes that a body has to be told, found by comparing what was frozen of an approval file with what stands now.

Compared are: the model's definition and plans; every fact that the frozen document names; whether each reading of a sample may still be used; the
materials and compounds of the lots that the samples descend from, against those of every lot of the model and revision that
was poured since; and the shares of materials in the mixes, where the checklist says by how many points they may differ.

A file that was handed over is watched (`ledger.duties.approval_changes` enters what is found); of one that is frozen and
still here the same says what stands in the way of signing it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from msgspec import UNSET

from ledger.application.adopted_files import checklist_by_digest
from ledger.application.approval_stored import stored_file, stored_frozen
from ledger.duties.approval_changes import DueChange
from ledger.errors import NotFound, StoreDamaged
from ledger.evidence.approval_facts import ApprovalRows
from ledger.line.approval_changes import WATCHED, ChangeSort
from ledger.line.approval_document import Frozen, FrozenFact, FrozenLot, FrozenSample
from ledger.line.approval_rows import ApprovalFile
from ledger.line.fact import parse_address
from ledger.line.gauges import standing_at
from ledger.line.reading_rows import Calibration
from ledger.line.rows import About, Descent, FactRow, Lot
from ledger.store.reader import Reader
from ledger.store.selections import StoredEdges, every_row, rows_with

_SAID = {
    "model": "model {} was defined anew by fact {}",
    "plan": "the process plan was set anew by fact {1}",
    "corrected": "fact {} was corrected or withdrawn by fact {}",
    "gauge": "readings of samples with gauge {} may not be used any more, by fact {}",
    "material": "{} went into what was made since, first by fact {}, and into no sample",
    "proportion": "the shares in mix {} differ from those of the samples' mixes, by fact {}",
    "other": "{}, by fact {}",
}


class FoundChange(NamedTuple):
    """A change: its sort, what is another, and the fact that shows it."""

    sort: ChangeSort
    subject: str
    fact: str

    @property
    def said(self) -> str:
        """In a sentence."""
        return change_words(self.sort, self.subject, self.fact)


def change_words(sort: str, subject: str, fact: str) -> str:
    """A change in a sentence; it holds no sealed value."""
    return _SAID.get(sort, _SAID["other"]).format(subject, fact)


def watched_files(reader: Reader) -> list[ApprovalFile]:
    """The files that are watched, by id."""
    states = sorted(WATCHED)
    marks = ", ".join("?" for _ in states)
    return every_row(reader.transaction, ApprovalFile, f'"state" IN ({marks})', states)


def due_changes(reader: Reader) -> list[DueChange]:
    """What watched files rest on that is another by now and that no fact says yet, in a fixed order.

    A file whose document is not here cannot be compared: it is passed over, and a check of the files says so.
    """
    due = []
    for file in watched_files(reader):
        rows = stored_file(reader, file.file)
        known = {(row.sort, row.subject, row.fact) for row in rows.changes if row.freeze == file.frozen}
        try:
            found = changes_since(reader, rows)
        except (NotFound, StoreDamaged):
            continue
        due += [
            DueChange(file.file, file.frozen or "", *one)
            for one in found
            if (one.sort, one.subject, one.fact) not in known
        ]
    return due


def changes_since(reader: Reader, rows: ApprovalRows) -> list[FoundChange]:
    """What is another since a file was frozen, in a fixed order; empty for one that is not frozen.

    Raises NotFound where its document is not stored.
    """
    freeze = next((row for row in rows.freezes if row.freeze == rows.file.frozen), None)
    if freeze is None:
        return []
    frozen, since = stored_frozen(reader, freeze.digest), parse_address(freeze.freeze)
    checklist = checklist_by_digest(reader, rows.file.checklist)
    points = None if checklist is None else checklist.proportion_points
    pours = _Pours(reader, frozen, since)
    found = [
        *_of_model(reader, rows.file.model, since),
        *_corrected(reader, frozen),
        *_gauges(reader, frozen, since),
        *pours.materials(),
        *([] if points is None else pours.proportions(points)),
    ]
    return sorted(dict.fromkeys(found), key=lambda one: (parse_address(one.fact), one.sort, one.subject))


def _of_model(reader: Reader, model: str, since: tuple[int, int]) -> Iterator[FoundChange]:
    for row in _facts_about(reader, [f"model:{model}"]):
        if (row.index, row.position) > since and row.standing:
            if row.kind == "model-defined":
                yield FoundChange("model", model, row.address)
            elif row.kind == "plan-set":
                yield FoundChange("plan", model, row.address)


def _facts_about(reader: Reader, nodes: Sequence[str]) -> list[FactRow]:
    about: list[About] = rows_with(reader, About, "node", nodes)
    found: list[FactRow] = rows_with(reader, FactRow, "address", sorted({row.address for row in about}))
    return found


def _corrected(reader: Reader, frozen: Frozen) -> Iterator[FoundChange]:
    lines = {line.fact: "" if line.body is UNSET else line.body for line in frozen.of(FrozenFact)}
    rows: list[FactRow] = rows_with(reader, FactRow, "address", list(lines))
    for row in rows:
        if row.body != lines[row.address]:
            yield FoundChange("corrected", row.address, row.body.rpartition(".")[0] or row.address)


def _gauges(reader: Reader, frozen: Frozen, since: tuple[int, int]) -> Iterator[FoundChange]:
    """Gauges whose readings of samples may not be used any more, by the fact since the freeze that takes them away."""
    readings = [reading for line in frozen.of(FrozenSample) for reading in line.readings]
    facts: list[FactRow] = rows_with(reader, FactRow, "address", sorted({reading.fact for reading in readings}))
    at_ms = {fact.address: fact.at_ms for fact in facts}
    calibrations: dict[str, list[Calibration]] = reader.rows_of(
        Calibration, "gauge", sorted({reading.gauge for reading in readings})
    )
    for gauge, taken in sorted({(one.gauge, at_ms[one.fact]) for one in readings if one.fact in at_ms}):
        standing = standing_at(calibrations.get(gauge, []), taken)
        if not standing.usable and standing.fact and parse_address(standing.fact) > since:
            yield FoundChange("gauge", gauge, standing.fact)


class _Pours:
    """The shell lots of the model and revision that were entered since a freeze, and what they were made of."""

    def __init__(self, reader: Reader, frozen: Frozen, since: tuple[int, int]) -> None:
        """Go up from all of them at once. Cost: these lots and all above them, in a query a level."""
        self._reader = reader
        self._frozen = frozen
        told = frozen.file
        lots: list[Lot] = reader.rows(Lot, "model", told.model)
        fresh = [
            lot.lot
            for lot in lots
            if lot.stage == "shell" and lot.revision == told.revision and parse_address(lot.address) > since
        ]
        above = _lots_above(reader, fresh)
        known = {line.lot for line in frozen.of(FrozenLot)}
        self._above: list[Lot] = sorted(
            rows_with(reader, Lot, "lot", sorted(above - known)), key=lambda lot: parse_address(lot.address)
        )

    def materials(self) -> Iterator[FoundChange]:
        """Each material and compound that no sample descends from, by the first lot of it."""
        seen = {(line.stage, line.material) for line in self._frozen.of(FrozenLot)}
        for lot in self._above:
            if lot.material is not None and (lot.stage, lot.material) not in seen:
                seen.add((lot.stage, lot.material))
                yield FoundChange("material", lot.material, lot.address)

    def proportions(self, points: int) -> Iterator[FoundChange]:
        """Each mix of a known compound with a share outside those of the samples' mixes by more than so many points.

        One that holds another material is told by that material.  The shares themselves are withheld, and not told.
        """
        lines = [line for line in self._frozen.of(FrozenLot) if line.stage == "batch" and line.material is not UNSET]
        shares = self._shares(
            [*(line.lot for line in lines), *(lot.lot for lot in self._above if lot.stage == "batch")]
        )
        ranges = _ranges((str(line.material), shares.get(line.lot, {})) for line in lines)
        for lot in self._above:
            known = ranges.get(lot.material or "") if lot.stage == "batch" else None
            own = shares.get(lot.lot, {})
            if known is not None and own.keys() <= known.keys() and _differs(own, known, Fraction(points, 100)):
                yield FoundChange("proportion", lot.lot, lot.address)

    def _shares(self, batches: Sequence[str]) -> dict[str, dict[str, Fraction]]:
        """Share of each material in each mix, by name; drums of one material are added up."""
        edges: list[Descent] = rows_with(self._reader, Descent, "child", batches)
        parents: list[Lot] = rows_with(self._reader, Lot, "lot", sorted({edge.parent for edge in edges}))
        names = {lot.lot: lot.material or lot.lot for lot in parents}
        grams: defaultdict[str, defaultdict[str, int]] = defaultdict(lambda: defaultdict(int))
        for edge in edges:
            grams[edge.child][names.get(edge.parent, edge.parent)] += edge.amount
        return {
            batch: {name: Fraction(amount, total) for name, amount in drawn.items()}
            for batch, drawn in grams.items()
            if (total := sum(drawn.values())) > 0
        }


def _lots_above(reader: Reader, lots: Sequence[str]) -> set[str]:
    edges, found, waiting = StoredEdges(reader), set[str](), set(lots)
    while waiting:
        waiting = {edge.parent for edge in edges.parents(sorted(waiting))} - found
        found |= waiting
    return found


_Ranges = dict[str, tuple[Fraction, Fraction]]


def _ranges(mixes: Iterable[tuple[str, dict[str, Fraction]]]) -> dict[str, _Ranges]:
    """Per compound the least and greatest share of each material; one that a mix lacks counts as none."""
    found: defaultdict[str, list[dict[str, Fraction]]] = defaultdict(list)
    for compound, shares in mixes:
        found[compound].append(shares)
    return {
        compound: {
            name: (min(mix.get(name, Fraction(0)) for mix in mixed), max(mix.get(name, Fraction(0)) for mix in mixed))
            for name in {name for mix in mixed for name in mix}
        }
        for compound, mixed in found.items()
    }


def _differs(shares: dict[str, Fraction], known: _Ranges, by: Fraction) -> bool:
    return any(not least - by <= shares.get(name, Fraction(0)) <= most + by for name, (least, most) in known.items())
