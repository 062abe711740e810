"""The rule of the house, from the row of the release policy that states it: for the service and for a dossier's verifier."""

from __future__ import annotations

import functools

import msgspec

from ledger.conformity.house import HousePolicy, Rule
from ledger.conformity.requirement import DecisionRule
from ledger.line.rows import ReleasePolicy

_QUANTITIES = msgspec.json.Decoder(dict[str, tuple[DecisionRule, str]])


# A population and a register ask for the one policy in force at every ball.
@functools.lru_cache(maxsize=64)
def house_policy(row: ReleasePolicy | None) -> HousePolicy | None:
    """The rule of the house that a policy states; None without one."""
    if row is None:
        return None
    return HousePolicy(
        decision=msgspec.convert(row.decision, DecisionRule),
        guard_r=row.guard_r,
        quantities={
            name: Rule(decision, guard_r) for name, (decision, guard_r) in _QUANTITIES.decode(row.quantities).items()
        },
    )
