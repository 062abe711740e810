"""The one object that the service and the commands call; see `ledger.application.pourbook`."""
