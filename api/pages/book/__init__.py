"""The book itself: how it stands in dated words, a check of the whole of it, its keys, and its entries."""

from api.pages.book.checking import Checking
from api.pages.book.entries import Entries
from api.pages.book.statement import Statement

BOOK_PAGES = (Statement, Checking, Entries)
"""The pages of this package, as the application takes them."""
