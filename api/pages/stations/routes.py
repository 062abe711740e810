"""The pages of the stages up to the finished ball, as the application takes them."""

from api.pages.stations.index import StationIndex
from api.pages.stations.stage_page import StagePageRoutes
from api.pages.stations.undoing import Undoing

STATION_PAGES = (StationIndex, StagePageRoutes, Undoing)
