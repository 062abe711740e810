"""`pourbook chart`: control charts of a quantity as an SVG file, and their figures and signals in lines.

With ``--rulebook`` the capability against its limits comes too; with ``--histogram`` its picture.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from ledger.application.process_capability import capability_of, draw_capability
from ledger.application.process_charts import chart_lines, charts_of, draw_chart
from ledger.application.process_figures import FiguresAsked
from ledger.errors import MalformedInput
from ledger.line.quantity import QUANTITIES
from ledger.store.reader import Reader
from ops.reading_store import add_store, reading_store
from ops.selection import add_selection, selection_of


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the store, the quantity, what tells readings apart, the pictures and the selection."""
    add_store(parser)
    parser.add_argument("--quantity", required=True, help="one of " + ", ".join(QUANTITIES))
    parser.add_argument("--by", choices=("mould", "station", "lot", "none"), default="none", help="tell readings apart")
    parser.add_argument("--group", help="one mould set, station or lot alone")
    parser.add_argument(
        "--subgroups", choices=("none", "lot", "day"), default="none", help="a point a ball, or one for each lot or day"
    )
    parser.add_argument("--class", dest="weight_class", type=int, metavar="LB", help="balls of this class alone")
    parser.add_argument("--rulebook", help="id of the rulebook whose limits the capability is against")
    parser.add_argument("--svg", type=Path, metavar="FILE", help="write the charts to this file")
    parser.add_argument("--histogram", type=Path, metavar="FILE", help="write the histogram to this file")
    add_selection(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the figures and write the pictures; 0, or an error of the tree in `ledger.errors`."""
    with reading_store(arguments) as reader:
        _answer(reader, arguments)
    return 0


def _answer(reader: Reader, arguments: argparse.Namespace) -> None:
    asked = FiguresAsked(
        quantity=arguments.quantity,
        selection=selection_of(arguments),
        by=arguments.by,
        rulebook=arguments.rulebook,
        subgroups=arguments.subgroups,
        group=arguments.group,
        weight_class=arguments.weight_class,
    )
    charts = charts_of(reader, asked)
    lines = [line for one in charts.groups for line in chart_lines(charts, one)]
    if charts.unusable:
        lines.append(f"{charts.unusable} readings may not be used: their gauge was out of calibration")
    if asked.rulebook is not None:
        for found in capability_of(reader, asked).groups:
            lines += ["", *(found.says or (f"{found.group}: no capability: {found.left_out}",))]
    print("\n".join(lines))
    for file, draw in ((arguments.svg, draw_chart), (arguments.histogram, draw_capability)):
        if file is not None:
            _write(file, draw(reader, asked))


def _write(file: Path, picture: str) -> None:
    try:
        file.write_text(picture, "utf-8")
    except OSError as error:
        raise MalformedInput("picture cannot be written", where=str(file), mend="name a file in a folder") from error
    print(f"picture in {file}")
