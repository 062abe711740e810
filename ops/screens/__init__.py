"""Pictures of every page, from the demo plant with a running service: ``python -m ops.screens --folder F``.

The browser, the plant and the list of pages are the tests' own too (`tests.browser`).
"""
