"""The pages of this package, as the application takes them."""

from api.pages.shipments.sending import Sending
from api.pages.shipments.taking_back import TakingBack

SHIPMENT_PAGES = (Sending, TakingBack)
