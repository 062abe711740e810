"""The pages of this package, as the application takes them."""

from api.pages.access.device_pages import Devices, Enrolling
from api.pages.access.own_account import OwnAccount
from api.pages.access.people import People
from api.pages.access.signing_in import SigningIn
from api.pages.access.vouched import Vouched

ACCESS_PAGES = (SigningIn, Vouched, OwnAccount, People, Devices, Enrolling)
