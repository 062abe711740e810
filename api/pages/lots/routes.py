"""The pages of this package, as the application takes them."""

from api.pages.lots.look import LotPages
from api.pages.lots.trace_page import TracePages

LOT_PAGES = (LotPages, TracePages)
