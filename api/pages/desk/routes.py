"""The controllers of the desk's pages."""

from api.pages.desk.claim_acts import ClaimActs
from api.pages.desk.claim_page import ClaimPages
from api.pages.desk.claims_page import ClaimsPage
from api.pages.desk.erase_page import ErasePages
from api.pages.desk.find_page import FindPages
from api.pages.desk.imports_page import ImportPages
from api.pages.desk.new_claim_page import NewClaim
from api.pages.desk.signals_page import SignalPages

DESK_PAGES = (FindPages, ClaimsPage, NewClaim, ClaimPages, ClaimActs, ErasePages, SignalPages, ImportPages)
"""Every page of the desk."""
