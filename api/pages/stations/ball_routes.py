"""The pages of the stations where a ball becomes itself: engraving and inspection, and what their queue asks."""

from api.pages.stations.engraving import EngravingPages
from api.pages.stations.here import StationHere
from api.pages.stations.inspection import InspectionPages

BALL_STATION_PAGES = (StationHere, EngravingPages, InspectionPages)
